"""No process outlives the command: whoever kills it, nothing of it runs on for more than 2 s."""

import os
import signal
import subprocess
import time
from pathlib import Path

import pytest

from tests.conftest import REPO, STEEL, first_then_long
from tests.installed import COMMAND

pytestmark = pytest.mark.skipif(
    not Path("/proc/self/stat").exists(), reason="processes are counted in /proc"
)
LONGEST = 2.0  # s that a process may run on


def session(leader):
    """The processes of a session by number, but for those that only wait to be reaped."""
    found = []
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            text = stat.read_text()
        except OSError:
            continue  # ended meanwhile
        state, _, _, of = text.rpartition(")")[2].split()[:4]
        if int(of) == leader and state not in "ZX":
            found.append(int(stat.parent.name))
    return sorted(found)


def wait_for(what, seconds):
    """Look until it is so; what it came to."""
    end = time.monotonic() + seconds
    while not (found := what()) and time.monotonic() < end:
        time.sleep(0.01)
    return found


def commands(tmp_path):
    return {
        "make": ["make", STEEL, "--out", tmp_path / "o"],
        "batch": ["batch", REPO / "demo_jobs", "--out", tmp_path / "o", "--jobs", "2"],
    }


@pytest.mark.parametrize("ended_by", [signal.SIGKILL, signal.SIGTERM, signal.SIGHUP])
@pytest.mark.parametrize(("name", "workers"), first_then_long([("make", 1), ("batch", 2)]))
def test_a_killed_command_leaves_no_process(ended_by, name, workers, tmp_path):
    if name == "make" and len(os.sched_getaffinity(0)) < 2:
        pytest.skip("one core: nothing is handed on")
    command = subprocess.Popen(
        [COMMAND, *commands(tmp_path)[name]], start_new_session=True,
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    try:
        assert wait_for(lambda: len(session(command.pid)) > workers, 60), "no worker was started"
        command.send_signal(ended_by)
        command.wait(60)
        assert wait_for(lambda: not session(command.pid), LONGEST), session(command.pid)
    finally:
        for left in session(command.pid):
            os.kill(left, signal.SIGKILL)


def keeps_ctrl_c_off(process):
    """Whether a process has Ctrl-C blocked or ignored; None where it has ended."""
    try:
        lines = Path(f"/proc/{process}/status").read_text().splitlines()
    except OSError:
        return None
    masks = [int(line.split()[1], 16) for line in lines if line.startswith(("SigBlk", "SigIgn"))]
    return any(mask >> (signal.SIGINT - 1) & 1 for mask in masks)


@pytest.mark.long
def test_no_worker_ever_sees_a_ctrl_c(tmp_path):
    """Looked at from the first moment each is there: at its start it would print where it was."""
    command = subprocess.Popen(
        [COMMAND, *commands(tmp_path)["batch"]], start_new_session=True,
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    try:
        wait_for(lambda: len(session(command.pid)) > 1, 60)
        seen, end = dict[int, list[bool | None]](), time.monotonic() + 4.0
        while time.monotonic() < end and command.poll() is None:
            for process in session(command.pid):
                if process != command.pid:
                    seen.setdefault(process, []).append(keeps_ctrl_c_off(process))
        assert len(seen) >= 2
        assert {p: s for p, s in seen.items() if False in s} == {}
    finally:
        os.killpg(command.pid, signal.SIGKILL)
        command.wait()


def test_ctrl_c_stops_every_process_with_one_line(tmp_path):
    """As a terminal sends it: to the command and its workers at once."""
    command = subprocess.Popen(
        [COMMAND, *commands(tmp_path)["batch"]], start_new_session=True, text=True,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE,
    )  # fmt: skip
    try:
        assert wait_for(lambda: len(session(command.pid)) > 2, 60)
        os.killpg(command.pid, signal.SIGINT)
        _, said = command.communicate(timeout=60)
        assert (command.returncode, said) == (2, "blankcam: stopped\n")
        assert wait_for(lambda: not session(command.pid), LONGEST), session(command.pid)
    finally:
        for left in session(command.pid):
            os.kill(left, signal.SIGKILL)
