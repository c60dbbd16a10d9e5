"""A command broken off, or refused by the system, at each of its calls that change a file system.

The command runs once up to where it begins to write; from there a copy of the process is made for
every call and every way to fail. What the disk then holds is looked at, and the command runs on
it once more with nothing in its way.
"""

from __future__ import annotations

import errno
import io
import json
import os
import shutil
import sys
from collections import Counter
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path

CALLS = (
    "open", "write", "fsync", "rename", "replace", "link", "unlink", "mkdir", "rmdir", "truncate",
    "ftruncate",
)  # fmt: skip
WAYS = ("crash", "fail once", "fail on")
CRASHED, OVER = 77, 78
WRITING = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND


class Shim:
    """Counts the calls; at one of them the process dies, or the call fails as on a full disk."""

    def __init__(self) -> None:
        self.at, self.way, self.count, self.kinds = 0, "", 0, Counter()
        self.real = {name: getattr(os, name) for name in CALLS}
        self.open_file = io.open
        for name in CALLS:
            setattr(os, name, self._shimmed(name))
        io.open = self._open  # what pathlib's open calls

    def _shimmed(self, name):
        def call(*args, **kwargs):
            if name == "open" and not (args[1] if len(args) > 1 else kwargs["flags"]) & WRITING:
                return self.real["open"](*args, **kwargs)
            half = (lambda: self.real["write"](args[0], args[1][: len(args[1]) // 2])) if name == "write" else None  # fmt: skip
            self.tick(name, half)
            return self.real[name](*args, **kwargs)

        return call

    def tick(self, name, half=None):
        self.count += 1
        self.kinds[name] += 1
        if not self.at or self.count < self.at or (self.count > self.at and self.way != "fail on"):
            return
        if half:
            half()
        if self.way == "crash":
            os._exit(CRASHED)
        raise OSError(errno.ENOSPC, "No space left on device")

    def _open(self, file, mode="r", *args, **kwargs):
        """Writing files of the io module, so that each call to the system is counted."""
        if not set(mode) & set("wax+") or "opener" in kwargs:
            return self.open_file(file, mode, *args, **kwargs)
        shim = self

        class Raw(io.FileIO):
            def write(self, data):
                half = lambda: io.FileIO.write(self, bytes(data)[: len(data) // 2])  # noqa: E731
                shim.tick("write", half)
                return super().write(data)

            def truncate(self, size=None):
                shim.tick("truncate")
                return super().truncate(size)

        shim.tick("open")
        raw = Raw(file, mode.replace("b", "").replace("t", ""))
        buffered = io.BufferedRandom(raw) if "+" in mode else io.BufferedWriter(raw)
        return buffered if "b" in mode else io.TextIOWrapper(buffered, *args[1:], **kwargs)


def explore(
    command: Callable[[], int], folder: Path, begins: Callable[[Callable[[], None]], None]
) -> dict[str, object]:
    """Run a command with every call failing in every way.

    Parameters
    ----------
    command : returns its exit code, as the command line's entry does
    folder : all that the command may change
    begins : told what to call when the command begins to write

    Returns
    -------
    ``calls`` by name; and ``runs``: each with its way, call, exit code, words, the files it left
    and those that the next run left, with its exit code.
    """
    kept = folder.with_name("kept")
    shutil.copytree(folder, kept, symlinks=True)
    shim, found, server = Shim(), {"runs": []}, os.getpid()

    def serve() -> None:
        if os.getpid() != server:
            return
        whole = _fork(shim, 0, "", folder)
        if whole is None:
            return
        found["calls"], found["clean"] = whole["calls"], (whole["code"], _files(folder))
        for way in WAYS:
            for at in range(1, sum(whole["calls"].values()) + 1):
                _restore(kept, folder)
                if (run := _fork(shim, at, way, folder)) is None:
                    return
                left = _files(folder)
                if (again := _fork(shim, 0, "", folder)) is None:
                    return
                found["runs"].append(
                    {"way": way, "at": at, **run, "left": left, "next": again["code"],
                     "next said": again["said"], "then": _files(folder)}
                )  # fmt: skip
        print(json.dumps(found))
        sys.stdout.flush()
        os._exit(0)

    begins(serve)
    code = command()
    if os.getpid() != server:  # a copy, at its end
        with shim.open_file(_notes(folder), "w") as stream:
            json.dump({"code": code, "calls": shim.kinds}, stream)
        sys.stdout.flush()
        sys.stderr.flush()
    os._exit(code)


def _notes(folder: Path) -> Path:
    return folder.with_name("notes.json")


def _fork(shim: Shim, at: int, way: str, folder: Path):
    """A copy that goes on with the command (None there); its exit code and words, here."""
    said = folder.with_name("said.txt")
    _notes(folder).unlink(missing_ok=True)
    sys.stdout.flush()
    child = os.fork()
    if child == 0:
        handle = shim.real["open"](said, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        os.dup2(handle, 1)
        os.dup2(handle, 2)
        shim.at, shim.way, shim.count = at, way, 0
        shim.kinds.clear()
        return None
    _, status = os.waitpid(child, 0)
    notes = json.loads(_notes(folder).read_text()) if _notes(folder).exists() else {"calls": {}}
    return notes | {"code": os.waitstatus_to_exitcode(status), "said": said.read_text()}


def _restore(kept: Path, folder: Path) -> None:
    shutil.rmtree(folder)
    shutil.copytree(kept, folder, symlinks=True)


def _files(folder: Path) -> dict[str, str]:
    return {
        str(p.relative_to(folder)): "" if p.is_dir() else sha256(p.read_bytes()).hexdigest()
        for p in sorted(folder.rglob("*"))
    }


def _at_first_call(*names: str) -> Callable[[Callable[[], None]], None]:
    """A command begins to write with its first call of one of these of ``output_folder``."""
    from blankcam import output_folder

    def patch(serve: Callable[[], None]) -> None:
        def wrapped(real):
            def call(*args, **kwargs):
                serve()
                return real(*args, **kwargs)

            return call

        for name in names:
            setattr(output_folder, name, wrapped(getattr(output_folder, name)))

    return patch


def command(folder: Path, begins: str, *args: str) -> None:
    """A command of the command line, its output in ``folder``."""
    from blankcam import cli

    explore(lambda: cli._exit_code(list(args)), folder, _at_first_call(begins))


def batch(folder: Path, source: str) -> None:
    """A batch of quick jobs in this process, one after another."""
    from concurrent.futures import Executor, Future

    from blankcam.faults import BlankcamError
    from blankcam.parts.stage import Stage
    from blankcam.workflows import batch as batches
    from tests.workflows.test_batch import HAND, quick

    class InLine(Executor):
        def submit(self, work, task):
            future = Future()
            future.set_result(work(task))
            return future

    batches.work = quick
    found = batches.jobs_of(source, None)

    def run() -> int:
        try:
            made = batches.batch(found, str(folder), HAND, Stage.ROUGH, pool=InLine, force=True)
        except BlankcamError as failed:
            print(failed)
            return failed.exit_code
        print(*(f for o in made for f in o.faults if o.folder != "bad"), sep="\n")
        return batches.exit_code(o for o in made if o.folder != "bad")

    explore(run, folder, _at_first_call("hold", "write"))


if __name__ == "__main__":
    what, place, *more = sys.argv[1:]
    batch(Path(place), *more) if what == "batch" else command(Path(place), what, *more)
