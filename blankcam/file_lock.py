"""A file held against other runs, for as long as it is open."""

from __future__ import annotations

import os
import time
from pathlib import Path
from typing import IO, Any

_PAUSE = 0.05  # s between two tries


class HeldError(Exception):
    """Another run holds the file."""


def held(path: str, patience: float) -> IO[bytes]:
    """The file, made where there is none, open to be added to, and locked until it is closed.

    Parameters
    ----------
    patience : how long to wait for another run that holds it, s

    Raises
    ------
    HeldError
        Another run still holds it.
    OSError
        It can't be opened.
    """
    until = time.monotonic() + patience
    while True:
        file = Path(path).open("ab")  # noqa: SIM115
        if _try_lock(file) and _same_file(file, path):
            return file
        file.close()
        if time.monotonic() > until:
            raise HeldError(path)
        time.sleep(_PAUSE)


def _same_file(file: IO[bytes], path: str) -> bool:
    """Whether it still lies under its name: the run that held it may have removed it."""
    try:
        return os.path.samestat(os.fstat(file.fileno()), Path(path).stat())
    except OSError:
        return False


def _try_lock(file: IO[bytes]) -> bool:
    try:
        import fcntl
    except ImportError:
        return _try_lock_by_byte(file)
    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True


def _try_lock_by_byte(file: IO[bytes]) -> bool:
    """Where there is no flock: one byte far past the end stands for the whole file."""
    import importlib

    msvcrt: Any = importlib.import_module("msvcrt")
    here = file.tell()
    file.seek(2**30)
    try:
        msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
    except OSError:
        return False
    finally:
        file.seek(here)
    return True
