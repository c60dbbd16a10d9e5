"""Long work shows how far it is, on a terminal only; stopped, it leaves nothing half."""

import os
import pty
import re
import select
import signal
import subprocess
import time

import pytest

from blankcam import output_folder
from tests.conftest import REPO
from tests.installed import COMMAND, run
from tests.workflows.test_batch import TEXT


def on_a_terminal(words, until=None):
    """What a command shows on a terminal of its own; sent Ctrl-C where it shows ``until``."""
    leader, terminal = pty.openpty()
    command = subprocess.Popen(
        [COMMAND, *map(str, words)], stdin=terminal, stdout=subprocess.PIPE, stderr=terminal,
        start_new_session=True, env=os.environ | {"TERM": "xterm", "COLUMNS": "100"},
    )  # fmt: skip
    os.close(terminal)
    shown, end = "", time.monotonic() + 120
    while time.monotonic() < end:
        if select.select([leader], [], [], 0.2)[0]:
            try:
                shown += os.read(leader, 4096).decode(errors="replace")
            except OSError:  # the other end is closed
                break
        if until and re.search(until, shown):
            os.killpg(command.pid, signal.SIGINT)
            until = None
    command.communicate(timeout=60)
    os.close(leader)
    return command.returncode, shown


@pytest.mark.long
def test_a_batch_shows_jobs_done_and_time_left_and_stops_whole(tmp_path):
    (tmp_path / "jobs").mkdir()
    for i in range(6):
        (tmp_path / "jobs" / f"job{i}.toml").write_text(TEXT)
    out = tmp_path / "out"
    words = "batch", tmp_path / "jobs", "--out", out, "--machine", "hand-bench", "--jobs", "1"
    code, shown = on_a_terminal(words, until=r"[1-5]/6")
    assert code == 2
    assert "0/6" in shown
    assert "left" in shown
    assert "blankcam: stopped" in shown
    assert "Traceback" not in shown
    for place in out.iterdir():
        assert place.is_dir()
        assert (place / output_folder.LIST_NAME).exists()
        assert (place / "sheet.pdf").exists()
    done = run(*words)
    assert done.returncode == 0
    assert done.stderr == ""  # no terminal, no progress
    assert len([p for p in out.iterdir() if p.is_dir()]) == 6


def test_short_work_shows_no_progress():
    code, shown = on_a_terminal(("layout", REPO / "demo_jobs" / "concert-steel.toml"))
    assert (code, shown) == (0, "")
