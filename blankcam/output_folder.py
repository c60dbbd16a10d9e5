"""A folder of results, written as a whole: the old good set stays until the new one stands.

The new set is built beside the folder and changed for it in one step where the system can, so
that no reader ever sees half a set, nor files of two runs. A list of what was written
(``.blankcam.json``) tells our files from the maker's own, which are never lost. What a run that
was killed left beside the folder, the next run clears away; a run still at work is known by the
lock on its staged folder.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import shutil
import tempfile
import time
from collections.abc import Collection, Iterator, Mapping
from pathlib import Path
from typing import Any

from blankcam.faults import Fault, OutputError

LIST_NAME = ".blankcam.json"
STALE = 10.0  # s after which an unlocked staged folder is a dead run's
_AT_FDCWD = -100
_EXCHANGE = 2  # RENAME_EXCHANGE of renameat2(2)


def write(out: str, files: Mapping[str, bytes], *, force: bool = False, stamp: str = "") -> None:
    """Put a set of files into a folder, whole or not at all.

    Parameters
    ----------
    out : the folder; made where there is none
    files : content by plain file name
    force : go on where the folder holds files that this tool did not write; they are kept
    stamp : kept in the list, for ``stands`` to compare

    Raises
    ------
    OutputError
        When it can't be written; then what stood there before still stands.
    """
    with _told(out):
        target = _target(out)
        target.parent.mkdir(parents=True, exist_ok=True)
        _tidy(target)
        foreign = _foreign(target)
        if foreign and not force:
            raise OutputError(_foreign_fault(out, foreign, files))
        staged = Path(tempfile.mkdtemp(prefix=_prefix(target), dir=target.parent))
        try:
            with _locked(staged):
                _fill(staged, files, stamp)
                for name in foreign:
                    if name not in files:
                        _keep(target / name, staged / name)
                _swap(staged, target, out, foreign)
        finally:
            shutil.rmtree(staged, ignore_errors=True)


def check(out: str, *, force: bool = False) -> None:
    """Say at once, before any work is done, that a folder holds the maker's own files.

    Raises
    ------
    OutputError
        Where ``write`` would.
    """
    with _told(out):
        foreign = _foreign(_target(out))
    if foreign and not force:
        raise OutputError(_foreign_fault(out, foreign, {}))


def stands(out: str, stamp: str) -> bool:
    """Whether the folder holds the whole set that was written with this stamp, unchanged."""
    try:
        target = Path(out).resolve()
        listed = _list(target)
        names = listed["files"]
        return listed.get("stamp") == stamp and all(
            _digest(target / name) == digest for name, digest in names.items()
        )
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return False


def write_file(path: str, content: bytes, *, force: bool = False) -> None:
    """One file, whole or not at all; an old one only where ``force`` says so."""
    check_file(path, force=force)
    with _told(path):
        target = Path(path)
        handle, staged = tempfile.mkstemp(prefix=".blankcam.", dir=target.parent)
        try:
            with os.fdopen(handle, "wb") as stream:
                stream.write(content)
                _settle(stream.fileno())
            Path(staged).chmod(0o644)
            Path(staged).replace(target)
        finally:
            Path(staged).unlink(missing_ok=True)


def check_file(path: str, *, force: bool = False) -> None:
    """Raise OutputError where ``write_file`` would find an old one in its way."""
    with _told(path):
        there = os.path.lexists(path)
    if there and not force:
        raise OutputError(
            Fault(where=path, wrong="is there already", fix="another name, or --force")
        )


def remove_file(path: str) -> None:
    """Remove a file, where there is one; raises OutputError where it can't be removed."""
    with _told(path):
        Path(path).unlink(missing_ok=True)


def write_beside(out: str, files: Mapping[str, bytes], *, force: bool = False) -> None:
    """Put files, each whole, into a folder that holds sub-folders and other things too.

    Raises
    ------
    OutputError
        When one would take the place of a file that this tool did not write, or can't be written.
    """
    check_beside(out, files, force=force)
    with _told(out):
        Path(out).mkdir(parents=True, exist_ok=True)
    digests = {name: hashlib.sha256(content).hexdigest() for name, content in files.items()}
    listing = {"files": _listed(Path(out)) | digests, "stamp": ""}
    for name, content in {**files, LIST_NAME: _json(listing)}.items():
        write_file(str(Path(out) / name), content, force=True)


def check_beside(out: str, names: Collection[str], *, force: bool = False) -> None:
    """Raise OutputError where ``write_beside`` would find a maker's own file in its way."""
    with _told(out):
        target = Path(out)
        ours = _listed(target)
        foreign = [
            name
            for name in names
            if (target / name).exists()
            and ((target / name).is_dir() or ours.get(name) != _digest(target / name))
        ]
    if foreign and not force:
        raise OutputError(_foreign_fault(out, foreign, dict.fromkeys(foreign, b"")))


@contextlib.contextmanager
def _told(where: str) -> Iterator[None]:
    """What the system says, as one line of ours."""
    try:
        yield
    except (OSError, ValueError) as fault:
        raise OutputError(
            Fault(where=where, wrong=f"can't be written ({_reason(fault)})")
        ) from None


def _reason(fault: Exception) -> str:
    return (fault.strerror or "").lower() if isinstance(fault, OSError) else str(fault)


def _target(out: str) -> Path:
    """The folder itself, behind any link, so that it can be changed as a whole."""
    target = Path(out).resolve()
    here = Path.cwd()
    if not target.name or target == here or target in here.parents:
        raise OutputError(
            Fault(
                where=out,
                wrong="is where you stand, and a folder is changed as a whole",
                fix="name a folder of its own, such as --out cuts",
            )
        )
    return target


def _prefix(target: Path) -> str:
    return f".{target.name[:40]}.new."


def _tidy(target: Path) -> None:
    """Clear away what killed runs left; bring back an old set that one had put aside."""
    for aside in target.parent.glob(_quoted(f".{target.name[:40]}.old.") + "*"):
        old = aside / target.name
        if old.is_dir() and not target.exists():
            old.rename(target)
        if old.exists() or any(aside.iterdir()):
            continue  # another folder's, of a name that begins alike
        shutil.rmtree(aside, ignore_errors=True)
    for staged in target.parent.glob(_quoted(_prefix(target)) + "*"):
        if time.time() - staged.stat().st_mtime > STALE:
            with contextlib.suppress(OSError), _locked(staged):
                shutil.rmtree(staged, ignore_errors=True)


def _quoted(text: str) -> str:
    """Text of which a pattern of names takes every character for itself."""
    return "".join(f"[{c}]" if c in "*?[" else c for c in text)


@contextlib.contextmanager
def _locked(folder: Path) -> Iterator[None]:
    """Hold a folder against other runs' tidying, where the system has such locks.

    Raises
    ------
    OSError
        When another run holds it.
    """
    try:
        import fcntl
    except ImportError:
        yield
        return
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        yield
    finally:
        os.close(handle)


def _foreign(target: Path) -> list[str]:
    """Names in the folder that we did not write, or that changed since."""
    if not target.exists():
        return []
    if not target.is_dir():
        raise OutputError(Fault(where=str(target), wrong="is a file, not a folder"))
    ours = _listed(target)
    return sorted(
        entry.name
        for entry in target.iterdir()
        if entry.name != LIST_NAME
        and (entry.is_dir() or entry.is_symlink() or ours.get(entry.name) != _digest(entry))
    )


def _list(target: Path) -> dict[str, Any]:
    found = json.loads((target / LIST_NAME).read_text(encoding="utf-8"))
    return dict(found)


def _listed(target: Path) -> dict[str, str]:
    try:
        return {str(k): str(v) for k, v in _list(target)["files"].items()}
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return {}


def _digest(path: Path) -> str:
    """Digest of a plain file; of anything else, such as a pipe, none that a list could hold."""
    return hashlib.sha256(path.read_bytes()).hexdigest() if path.is_file() else ""


def _foreign_fault(out: str, foreign: list[str], files: Mapping[str, bytes]) -> Fault:
    changed = [name for name in foreign if name in files]
    what = "would be overwritten, changed by hand" if changed else "not written by this tool"
    names = ", ".join((changed or foreign)[:3]) + (
        " and more" if len(changed or foreign) > 3 else ""
    )
    return Fault(where=out, wrong=f"holds files {what}: {names}", fix="another folder, or --force")


def _fill(staged: Path, files: Mapping[str, bytes], stamp: str) -> None:
    digests = {name: hashlib.sha256(content).hexdigest() for name, content in files.items()}
    listing = _json({"files": digests, "stamp": stamp})
    for name, content in {**files, LIST_NAME: listing}.items():
        with (staged / name).open("wb") as stream:
            stream.write(content)
            stream.flush()
            _settle(stream.fileno())
    staged.chmod(0o755)


def _json(listing: object) -> bytes:
    return (json.dumps(listing, indent=1, sort_keys=True) + "\n").encode()


def _settle(handle: int) -> None:
    """On the disk before the names change: a power cut must not leave names without content."""
    with contextlib.suppress(OSError):
        os.fsync(handle)


def _keep(old: Path, new: Path) -> None:
    if old.is_symlink() or not old.is_dir():
        shutil.copy2(old, new, follow_symlinks=False)
    else:
        shutil.copytree(old, new, symlinks=True)


def _swap(staged: Path, target: Path, out: str, kept: Collection[str]) -> None:
    """Change the staged folder for the target; one step where the system has it.

    Raises
    ------
    OutputError
        When a file of the maker's own came into the target meanwhile; it still stands.
    """
    if not target.exists():
        try:
            staged.rename(target)
        except OSError:
            if not target.exists():
                raise
        else:
            return
    if _exchange(staged, target):
        if late := [name for name in _foreign(staged) if name not in kept]:
            _exchange(staged, target)
            raise OutputError(_foreign_fault(out, late, {}))
        return
    aside = Path(tempfile.mkdtemp(prefix=f".{target.name[:40]}.old.", dir=target.parent))
    old = aside / target.name
    try:
        target.rename(old)
        try:
            staged.rename(target)
        except OSError:
            old.rename(target)
            raise
        shutil.rmtree(old, ignore_errors=True)
    finally:
        with contextlib.suppress(OSError):
            aside.rmdir()


def _exchange(a: Path, b: Path) -> bool:
    """Swap two names in one step (renameat2); False where that is not to be had."""
    import ctypes

    try:
        call = ctypes.CDLL(None, use_errno=True).renameat2
    except (OSError, AttributeError, TypeError):  # not this system's library, or an old one
        return False
    done = call(_AT_FDCWD, os.fsencode(a), _AT_FDCWD, os.fsencode(b), _EXCHANGE)
    return bool(done == 0)
