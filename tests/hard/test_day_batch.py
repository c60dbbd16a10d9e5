"""A day's work: many jobs, some broken, stopped again and again at random, and resumed.

The whole day: BLANKCAM_DAY_JOBS=1000 pytest -s tests/hard/test_day_batch.py
"""

import json
import os
import random
import signal
import statistics
import subprocess
import time
from pathlib import Path

import pytest

from blankcam import output_folder
from tests.hard.test_orphans import LONGEST, session, wait_for
from tests.installed import COMMAND
from tests.workflows.test_batch import TEXT

JOBS = int(os.environ.get("BLANKCAM_DAY_JOBS", "40"))
SEED = int(os.environ.get("BLANKCAM_DAY_SEED", str(time.time_ns() % 1_000_000)))
STOPS = 5

pytestmark = [
    pytest.mark.long,
    pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="memory is read in /proc"),
]


def memory(leader):
    """Resident kB of all processes of a session."""
    total = 0
    for process in session(leader):
        try:
            status = Path(f"/proc/{process}/status").read_text()
        except OSError:
            continue
        total += sum(int(s.split()[1]) for s in status.splitlines() if s.startswith("VmRSS"))
    return total


def made_in(out):
    """When each whole folder was written."""
    lists = out.glob(f"*/{output_folder.LIST_NAME}") if out.exists() else ()
    return {path.parent.name: path.stat().st_mtime_ns for path in lists}


def work_on(words, out, until):
    """Run until so many folders stand, then stop it; memory as folders came, and its exit code."""
    command = subprocess.Popen(
        [COMMAND, *map(str, words)], start_new_session=True, stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    seen = []
    while command.poll() is None and (until is None or len(made_in(out)) < until[0]):
        seen.append((len(made_in(out)), memory(command.pid)))
        time.sleep(0.2)
    if until is not None:
        os.killpg(command.pid, until[1]) if until[1] == signal.SIGINT else command.send_signal(until[1])  # fmt: skip
    said = command.communicate(timeout=600)[1]
    assert wait_for(lambda: not session(command.pid), LONGEST)
    assert "Traceback" not in said
    return seen, command.returncode


def test_a_day_of_jobs_stopped_five_times(tmp_path):
    chance = random.Random(SEED)
    source, out = tmp_path / "jobs", tmp_path / "out"
    source.mkdir()
    broken = set(chance.sample(range(JOBS), JOBS // 10))
    for i in range(JOBS):
        text = TEXT.replace("concert 11", f"concert {i}")
        (source / f"job{i:04}.toml").write_text("x" if i in broken else text)
    good = JOBS - len(broken)
    words = "batch", source, "--out", out, "--machine", "hand-bench"
    began, first = time.monotonic(), {}
    for at in sorted(chance.sample(range(1, good), STOPS)):
        how = chance.choice((signal.SIGINT, signal.SIGKILL, signal.SIGTERM))
        work_on(words, out, (at, how))
        now = made_in(out)
        assert {n: t for n, t in now.items() if n in first} == first  # nothing is made again
        assert len(now) >= at
        first = now
    seen, code = work_on(words, out, None)
    now = made_in(out)
    assert code == 2  # the broken ones
    assert {n: t for n, t in now.items() if n in first} == first
    record = json.loads((out / "summary.json").read_text())["jobs"]
    statuses = [j["status"] for j in record]
    assert len(record) == JOBS
    assert statuses.count("unusable") == len(broken)
    assert statuses.count("kept") == len(first)
    assert statuses.count("made") == good - len(first)
    assert len(now) == good
    for name in now:
        assert not [p for p in (out / name).iterdir() if p.name.startswith(".blankcam.new")]
    seconds = time.monotonic() - began

    # memory, in one run of all jobs that is not stopped
    again = tmp_path / "again"
    seen, _ = work_on((*words[:3], again, *words[4:]), again, None)
    warm = [kb for done, kb in seen if done >= good // 10]
    third = len(warm) // 3
    head, tail = (statistics.median(part) for part in (warm[:third], warm[-third:]))
    print(
        f"\nseed {SEED}: {JOBS} jobs, {len(broken)} broken, {STOPS} stops, {seconds:.0f} s; memory of"
        f" all processes, first third {head / 1024:.0f} MB, last third {tail / 1024:.0f} MB"
    )
    assert tail < 1.15 * head
