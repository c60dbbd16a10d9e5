"""Files of one folder changed all or none, each whole, by nothing but names in that folder.

The new files are first written under names of their own; then a journal, which says what takes
whose place, makes the change certain; then each file takes its place and the journal goes. A run
that dies before the journal leaves the old files and a few of ours to clear away; one that dies
after it leaves a change that the next run completes. The journal has a name that a maker sees.

Nothing else in the folder is read, copied, moved or counted; folder and files have the owner and
rights that the system gives new ones there.
"""

from __future__ import annotations

import contextlib
import json
import os
import secrets
import stat
import time
from collections.abc import Collection, Iterator, Mapping
from errno import EBADF, EINVAL, ENOLCK, ENOSYS, ENOTSUP, EOPNOTSUPP
from pathlib import Path
from typing import Any

JOURNAL = "blankcam-unfinished.json"
STAGED = ".blankcam.new."
LARGEST_RECORD = 4_000_000  # bytes of a journal or list that is read
_UNSUPPORTED = frozenset({EBADF, EINVAL, ENOLCK, ENOSYS, ENOTSUP, EOPNOTSUPP})
_held: set[tuple[int, int]] = set()  # folders that this process has locked


class BusyError(OSError):
    """Another run holds the folder."""


class HalfDoneError(OSError):
    """The change is certain but not complete; the next run completes it."""


@contextlib.contextmanager
def locked(folder: Path, *, patience: float) -> Iterator[None]:
    """Hold a folder against other runs, where its system has such locks; again within is no wait.

    Raises
    ------
    BusyError
        When another run still holds it after ``patience`` seconds.
    OSError
        When there is no such folder.
    """
    found = folder.stat()
    identity = found.st_dev, found.st_ino
    if identity in _held or not hasattr(os, "O_DIRECTORY"):
        yield
        return
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        _lock(handle, time.monotonic() + patience)
        _held.add(identity)
        yield
    finally:
        _held.discard(identity)
        os.close(handle)  # which unlocks it


def _lock(handle: int, until: float) -> None:
    import fcntl

    while True:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            if time.monotonic() >= until:
                raise BusyError from None
            time.sleep(0.05)
        except OSError as fault:
            if fault.errno not in _UNSUPPORTED:
                raise
            return
        else:
            return


def change(folder: Path, put: Mapping[str, bytes], remove: Collection[str] = ()) -> None:
    """Put and remove files, all or none; the folder is locked, and ``recover`` was called.

    Raises
    ------
    OSError
        Then nothing is changed.
    HalfDoneError
        The journal stands, and ``recover`` completes the change.
    ValueError
        Where another program changed one of the files meanwhile; then nothing is changed.
    """
    token = secrets.token_hex(4)
    staged = {name: f"{STAGED}{token}.{i}" for i, name in enumerate(put)}
    was = {name: _look(folder / name) for name in (*put, *remove)}
    journal = {"put": staged, "remove": list(remove), "was": was}
    try:
        for name, content in put.items():
            _write_new(folder / staged[name], content)
        _write_new(folder / f"{STAGED}{token}.journal", json.dumps(journal).encode())
        _settle_names(folder)
        _check_unchanged(folder, was)
        (folder / f"{STAGED}{token}.journal").rename(folder / JOURNAL)
        _settle_names(folder)
    except BaseException as fault:
        _take_back(folder, token)
        if isinstance(fault, OSError) and os.path.lexists(folder / JOURNAL):
            raise HalfDoneError(fault.errno, fault.strerror) from None
        raise
    try:
        try:
            _complete(folder, journal)
        except OSError:
            _complete(folder, journal)  # what failed once need not fail again
    except OSError as fault:
        raise HalfDoneError(fault.errno, fault.strerror) from None


def recover(folder: Path) -> None:
    """Complete what a run that died left half done, else clear away its files; folder locked.

    Raises
    ------
    OSError
        When it can't be done.
    ValueError
        When the journal is damaged, or a file was changed since; told with the name.
    """
    try:
        record = read_record(folder / JOURNAL)
    except FileNotFoundError:
        _clear(folder)
        return
    _complete(folder, _journal(record), carefully=True)
    _clear(folder)


def _clear(folder: Path) -> None:
    left = [e.name for e in os.scandir(folder) if e.name.startswith(STAGED)]
    for name in left:
        (folder / name).unlink()


def _complete(folder: Path, journal: Mapping[str, Any], *, carefully: bool = False) -> None:
    """Whatever the journal says is still to do; ``carefully`` where others may have
    come between.
    """
    put: Mapping[str, str] = journal["put"]
    waiting = {n: s for n, s in put.items() if os.path.lexists(folder / s)}
    if carefully:
        gone = {n for n in journal["remove"] if not os.path.lexists(folder / n)}
        still = {*waiting, *journal["remove"]} - gone
        _check_unchanged(folder, {n: w for n, w in journal["was"].items() if n in still})
    for name, staged in waiting.items():
        (folder / staged).replace(folder / name)
    for name in journal["remove"]:
        (folder / name).unlink(missing_ok=True)
    _settle_names(folder)
    (folder / JOURNAL).unlink(missing_ok=True)


def _journal(record: bytes) -> Mapping[str, Any]:
    """A journal as read, every name in it a plain one; raises ValueError where it is damaged."""
    try:
        journal = json.loads(record)
        put, remove, was = journal["put"], journal["remove"], journal["was"]
        names = [*put, *remove]
        good = (
            all(map(is_plain, (*names, *put.values())))
            and all(s.startswith(STAGED) for s in put.values())
            and set(was) == set(names)
        )
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        good = False
    if not good:
        raise ValueError(f"{JOURNAL} is damaged")
    return {"put": put, "remove": remove, "was": was}


def is_plain(name: object) -> bool:
    """Whether it names a file in the folder itself."""
    return (
        isinstance(name, str)
        and name not in ("", ".", "..", JOURNAL)
        and not any(c in name for c in {"/", "\0", os.sep, os.altsep or "/"})
    )


def _take_back(folder: Path, token: str) -> None:
    """Undo what came before the journal, the journal first: where it stays, so do its files."""
    with contextlib.suppress(OSError):
        (folder / JOURNAL).unlink(missing_ok=True)
        for entry in os.scandir(folder):
            if entry.name.startswith(f"{STAGED}{token}."):
                (folder / entry.name).unlink()


def _look(path: Path) -> list[int] | None:
    """What tells whether a file was changed, without reading it; None where there is none."""
    try:
        found = path.lstat()
    except FileNotFoundError:
        return None
    return [found.st_mode, found.st_size, found.st_mtime_ns]


def _check_unchanged(folder: Path, was: Mapping[str, Any]) -> None:
    for name, before in was.items():
        if _look(folder / name) != before:
            raise ValueError(f"{name} was changed while it was to be replaced")


def write_whole(path: Path, content: bytes, *, replace: bool) -> None:
    """One file, whole or not at all, in the rights of the one it replaces; its folder is locked.

    Raises
    ------
    FileExistsError
        Where there is one and it is not to be replaced.
    """
    if not os.path.lexists(path.with_name(JOURNAL)):
        _clear(path.parent)
    staged = path.with_name(f"{STAGED}{secrets.token_hex(4)}")
    try:
        _write_new(staged, content, like=path if replace else None)
        if replace:
            staged.replace(path)
        else:
            _name_new(staged, path)
        _settle_names(path.parent)
    finally:
        with contextlib.suppress(OSError):
            staged.unlink(missing_ok=True)


def _name_new(staged: Path, path: Path) -> None:
    """Give a file its name where nothing has it; in one step where the file system can."""
    try:
        os.link(staged, path)
    except FileExistsError:
        raise
    except OSError:  # no hard links there
        if os.path.lexists(path):
            raise FileExistsError from None
        staged.rename(path)


def _write_new(path: Path, content: bytes, like: Path | None = None) -> None:
    """A file that was not there, on the disk when this returns."""
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o666)
    try:
        if like is not None and hasattr(os, "fchmod"):
            with contextlib.suppress(OSError):
                os.fchmod(handle, stat.S_IMODE(like.stat().st_mode))
        rest = memoryview(content)
        while rest:
            rest = rest[os.write(handle, rest) :]
        _settle(handle)
    finally:
        os.close(handle)


def _settle_names(folder: Path) -> None:
    """Names on the disk, where the system can: a power cut must not undo them out of order."""
    if not hasattr(os, "O_DIRECTORY"):
        return
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        _settle(handle)
    finally:
        os.close(handle)


def _settle(handle: int) -> None:
    try:
        os.fsync(handle)
    except OSError as fault:
        if fault.errno not in _UNSUPPORTED:
            raise


def read_record(path: Path) -> bytes:
    """A small file of our own; raises OSError, and ValueError where it is no such file."""
    handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    with os.fdopen(handle, "rb") as stream:
        found = os.fstat(handle)
        if not stat.S_ISREG(found.st_mode) or found.st_size > LARGEST_RECORD:
            raise ValueError(f"{path.name} is not a small file")
        return stream.read(LARGEST_RECORD)
