"""A folder of results, written as a whole: the old good set stays until the new one stands.

The new set is built beside the folder and changed for it in one step where the system can, so
that no reader ever sees half a set, nor files of two runs. A list of what was written
(``.blankcam.json``) tells our files from the maker's own, which are never lost.
"""

from __future__ import annotations

import contextlib
import ctypes
import ctypes.util
import hashlib
import json
import os
import shutil
import tempfile
from collections.abc import Mapping
from pathlib import Path

from blankcam.faults import Fault, OutputError

LIST_NAME = ".blankcam.json"
_AT_FDCWD = -100
_EXCHANGE = 2  # RENAME_EXCHANGE of renameat2(2)


def write(out: str, files: Mapping[str, bytes], *, force: bool = False) -> None:
    """Put a set of files into a folder, whole or not at all.

    Parameters
    ----------
    out : the folder; made where there is none
    files : content by plain file name
    force : go on where the folder holds files that this tool did not write; they are kept

    Raises
    ------
    OutputError
        When it can't be written; then what stood there before still stands.
    """
    target = Path(out)
    try:
        foreign = _foreign(target)
        if foreign and not force:
            raise OutputError(_foreign_fault(out, foreign, files))
        target.parent.mkdir(parents=True, exist_ok=True)
        staged = Path(tempfile.mkdtemp(prefix=f".{target.name[:40]}.", dir=target.parent))
        try:
            _fill(staged, files)
            for name in foreign:
                if name not in files:
                    _keep(target / name, staged / name)
            _swap(staged, target)
        finally:
            shutil.rmtree(staged, ignore_errors=True)
    except (OSError, ValueError) as fault:
        raise OutputError(Fault(where=out, wrong=f"can't be written ({_reason(fault)})")) from None


def check(out: str, *, force: bool = False) -> None:
    """Say at once, before any work is done, that a folder holds the maker's own files.

    Raises
    ------
    OutputError
        Where ``write`` would.
    """
    try:
        foreign = _foreign(Path(out))
    except (OSError, ValueError) as fault:
        raise OutputError(Fault(where=out, wrong=f"can't be written ({_reason(fault)})")) from None
    if foreign and not force:
        raise OutputError(_foreign_fault(out, foreign, {}))


def write_file(path: str, content: bytes, *, force: bool = False) -> None:
    """One file, whole or not at all; an old one only where ``force`` says so."""
    target = Path(path)
    try:
        if target.exists() and not force:
            raise OutputError(
                Fault(where=path, wrong="is there already", mend="another name, or --force")
            )
        handle, staged = tempfile.mkstemp(prefix=".blankcam.", dir=target.parent)
        try:
            with os.fdopen(handle, "wb") as stream:
                stream.write(content)
            Path(staged).chmod(0o644)
            Path(staged).replace(target)
        finally:
            Path(staged).unlink(missing_ok=True)
    except (OSError, ValueError) as fault:
        raise OutputError(Fault(where=path, wrong=f"can't be written ({_reason(fault)})")) from None


def _reason(fault: Exception) -> str:
    return (fault.strerror or "").lower() if isinstance(fault, OSError) else str(fault)


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


def _listed(target: Path) -> dict[str, str]:
    try:
        found = json.loads((target / LIST_NAME).read_text(encoding="utf-8"))
        return {str(k): str(v) for k, v in found["files"].items()}
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return {}


def _digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def _foreign_fault(out: str, foreign: list[str], files: Mapping[str, bytes]) -> Fault:
    changed = [name for name in foreign if name in files]
    what = "would be overwritten, changed by hand" if changed else "not written by this tool"
    names = ", ".join((changed or foreign)[:3]) + (
        " and more" if len(changed or foreign) > 3 else ""
    )
    return Fault(where=out, wrong=f"holds files {what}: {names}", mend="another folder, or --force")


def _fill(staged: Path, files: Mapping[str, bytes]) -> None:
    for name, content in files.items():
        (staged / name).write_bytes(content)
    digests = {name: hashlib.sha256(content).hexdigest() for name, content in files.items()}
    listing = json.dumps({"files": digests}, indent=1, sort_keys=True) + "\n"
    (staged / LIST_NAME).write_text(listing, encoding="utf-8")
    staged.chmod(0o755)


def _keep(old: Path, new: Path) -> None:
    if old.is_symlink() or not old.is_dir():
        shutil.copy2(old, new, follow_symlinks=False)
    else:
        shutil.copytree(old, new, symlinks=True)


def _swap(staged: Path, target: Path) -> None:
    """Change the staged folder for the target; one step where the system has it."""
    if not target.exists():
        staged.rename(target)
        return
    if _exchange(staged, target):
        return
    aside = Path(tempfile.mkdtemp(prefix=f".{target.name[:40]}.old.", dir=target.parent))
    target.rename(aside / "old")
    try:
        staged.rename(target)
    except OSError:
        (aside / "old").rename(target)
        raise
    finally:
        with contextlib.suppress(OSError):
            shutil.rmtree(aside)


def _exchange(a: Path, b: Path) -> bool:
    """Swap two names in one step (renameat2); False where that is not to be had."""
    try:
        call = ctypes.CDLL(ctypes.util.find_library("c"), use_errno=True).renameat2
    except (OSError, AttributeError):
        return False
    done = call(_AT_FDCWD, os.fsencode(a), _AT_FDCWD, os.fsencode(b), _EXCHANGE)
    return bool(done == 0)
