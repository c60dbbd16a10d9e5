"""The installed command, as tests run it."""

import atexit
import json
import os
import re
import signal
import socket
import subprocess
import sys
import tempfile
import threading
from contextlib import ExitStack
from functools import cache
from pathlib import Path

COMMAND = Path(sys.executable).with_name("blankcam")
PREPARED = Path(__file__).with_name("prepared.py")
READ_AT_START = ("PYTHON", "LC_", "LANG", "OPENBLAS", "LD_")
"""Variables that begin so are read when Python starts: where one is changed, it is."""
MOST = 120.0
"""Seconds a command may take."""


def run(*words, cwd=None, said="", fresh=False, **environment):
    """The command with these words, ended: its exit code and what it said, as text.

    ``said``: what it reads as its input.
    ``fresh``: in a Python started anew, else in a fork of one that has imported the program.
    """
    whole = os.environ | environment
    changed = any(name.startswith(READ_AT_START) for name in environment)
    words = [str(each) for each in words]
    if not (fresh or changed or not hasattr(os, "fork")):
        prepared = _prepared()
        if prepared.free.acquire(blocking=False):
            try:
                return prepared.run(words, cwd or Path.cwd(), whole, said)
            finally:
                prepared.free.release()
    return subprocess.run(
        [COMMAND, *words], capture_output=True, text=True, timeout=MOST, check=False, cwd=cwd,
        env=whole, input=said,
    )  # fmt: skip


def refused(done, code, words):
    """It ended with that code and told why, matching ``words``, and nothing else."""
    assert done.returncode == code, done.stderr
    assert re.search(words, done.stderr), done.stderr
    assert "Traceback" not in done.stderr
    assert done.stdout == ""


@cache
def _prepared():
    return _Prepared()


class _Prepared:
    """The process of tests/prepared.py, started when a command is first wanted."""

    def __init__(self):
        self.free = threading.Lock()
        self._asks, theirs = socket.socketpair()
        self._process = subprocess.Popen(
            [sys.executable, PREPARED, COMMAND, str(theirs.fileno())], pass_fds=[theirs.fileno()],
            env=os.environ | {"OPENBLAS_NUM_THREADS": "1"}, stdin=subprocess.DEVNULL,
        )  # fmt: skip
        theirs.close()
        self._said = self._asks.makefile("r")
        atexit.register(self.end)
        assert self._heard(60.0) == "ready"

    def run(self, words, cwd, environment, said):
        asked = {"words": words, "cwd": str(cwd), "environment": environment}
        with ExitStack() as opened:
            files = [opened.enter_context(tempfile.TemporaryFile()) for _ in range(3)]
            files[0].write(said.encode())
            files[0].seek(0)
            numbers = [each.fileno() for each in files]
            socket.send_fds(self._asks, [json.dumps(asked).encode()], numbers)
            process = int(self._heard(60.0))
            try:
                code = int(self._heard(MOST))
            except TimeoutError:
                os.kill(process, signal.SIGKILL)
                self._heard(60.0)
                raise subprocess.TimeoutExpired(words, MOST) from None
            told = [_text(each) for each in files[1:]]
        return subprocess.CompletedProcess([str(COMMAND), *words], code, *told)

    def _heard(self, seconds):
        self._asks.settimeout(seconds)
        return self._said.readline().strip()

    def end(self):
        self._asks.close()
        self._said.close()
        self._process.wait()


def _text(file):
    file.seek(0)
    return file.read().decode().replace("\r\n", "\n").replace("\r", "\n")
