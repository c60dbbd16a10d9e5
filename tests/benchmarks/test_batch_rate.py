"""A run of jobs on one core and on all: rates side by side, and whether memory stays flat.

``BLANKCAM_BATCH_JOBS`` says how many jobs (8 without); the workshop's own long run is 1,000. Told,
not judged; but every job must come out made.
"""

import json
import os
import subprocess
import threading
import time
from pathlib import Path

import pytest

from tests.conftest import STEEL
from tests.installed import COMMAND

COUNT = int(os.environ.get("BLANKCAM_BATCH_JOBS", "8"))


def run(table, out, jobs):
    """Seconds for the whole run, and the workers' greatest memory over time, MB."""
    words = [COMMAND, "batch", STEEL, "--rows", table, "--out", out, "--jobs", str(jobs)]
    begun = time.perf_counter()
    process = subprocess.Popen(words, stdout=subprocess.DEVNULL)
    seen = []
    watch = threading.Thread(target=watched, args=(process, seen))
    watch.start()
    assert process.wait() == 0
    took = time.perf_counter() - begun
    watch.join()
    record = json.loads((Path(out) / "summary.json").read_text())
    assert [j["status"] for j in record["jobs"]] == ["made"] * COUNT
    return took, seen


def watched(process, seen):
    while process.poll() is None:
        seen.append(max(map(resident, children(process.pid)), default=0.0))
        time.sleep(0.25)


def children(pid):
    """Processes begun by a process (Linux)."""
    try:
        return Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
    except OSError:
        return []


def resident(pid):
    try:
        pages = int(Path(f"/proc/{pid}/statm").read_text().split()[1])
    except (OSError, ValueError, IndexError):
        return 0.0
    return pages * os.sysconf("SC_PAGE_SIZE") / 2**20


@pytest.mark.benchmark
def test_batch_rate(benchmark, tmp_path):
    if benchmark.disabled:
        pytest.skip("long timings: pytest tests/benchmarks -n 0")
    table = tmp_path / "run.csv"
    rows = [f"No {i},{6.05 + i % 7 / 100:.2f} mm" for i in range(COUNT)]
    table.write_text("\n".join(["instrument.name,nut.seat_width", *rows]) + "\n")
    one, _ = run(table, tmp_path / "one", 1)
    ((two, seen),) = [benchmark.pedantic(run, (table, tmp_path / "two", 2), rounds=1)]
    third = max(1, len(seen) // 3)
    benchmark.extra_info |= {
        "jobs": COUNT,
        "seconds a job, one core": round(one / COUNT, 2),
        "rate of two cores over one": round(one / two, 2),
        "worker MB, first and last third": [round(max(s)) for s in (seen[:third], seen[-third:])],
    }
