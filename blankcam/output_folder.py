"""A folder of results: one whole set of files, beside whatever else the maker keeps there.

A list of what was written (``.blankcam.json``) tells our files from the maker's own, which are
never copied, moved, read or lost. The set is changed all or none (``transaction``), by one run at
a time.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import stat
import tempfile
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from blankcam import transaction
from blankcam.faults import Fault, OutputError
from blankcam.file_kinds import special_kind

LIST_NAME = ".blankcam.json"
PATIENCE = 10.0  # s that a run waits for another one to finish writing


@dataclass(frozen=True, slots=True)
class _Listed:
    """A file as we wrote it."""

    digest: str
    size: int | None
    """None in lists of old."""


def write(out: str, files: Mapping[str, bytes], *, force: bool = False, stamp: str = "") -> None:
    """Put a set of files into a folder, whole or not at all, in place of the set before it.

    Parameters
    ----------
    out : the folder; made where there is none
    files : content by plain file name
    force : go on where the folder holds files that this tool did not write, which are kept, or
        some of its own that were changed by hand, which are overwritten
    stamp : kept in the list, for ``stands`` to compare

    Raises
    ------
    OutputError
        When it can't be written; then what stood there before still stands.
    """
    with _told(out), _folder(out) as target, _held(target, out, PATIENCE):
        ours, foreign = _sorted(target)
        if foreign and not force:
            raise OutputError(_foreign_fault(out, foreign, files))
        _check_not_the_makers(target, out, set(foreign) & set(files))
        _check_places(target, files)
        listing = _list_of(files, {}, stamp)
        transaction.change(target, {**files, LIST_NAME: listing}, sorted(set(ours) - set(files)))


def write_beside(out: str, files: Mapping[str, bytes], *, force: bool = False) -> None:
    """Put files, all or none, into a folder that holds sub-folders and other things too.

    Raises
    ------
    OutputError
        When one would take the place of a file that this tool did not write, or can't be written.
    """
    with _told(out), _folder(out) as target, _held(target, out, PATIENCE):
        _check_ours(target, out, files, force=force)
        _check_places(target, files)
        listing = _list_of(files, _listed(target), "")
        transaction.change(target, {**files, LIST_NAME: listing})


def check(out: str, names: Collection[str] = (), *, force: bool = False) -> None:
    """Say before any work is done what would keep a set from being written.

    Parameters
    ----------
    names : of the files to come, as far as they are known

    Raises
    ------
    OutputError
        Where the folder holds the maker's own files, or can't be written.
    """
    with _told(out):
        target = Path(out)
        if _is_folder(target, out):
            with _held(target, out, PATIENCE):
                _, foreign = _sorted(target)
            if foreign and not force:
                raise OutputError(_foreign_fault(out, foreign, _listed(target)))
            _check_places(target, {*names, *_listed(target)})
        _try_out(target)


def check_beside(out: str, names: Collection[str], *, force: bool = False) -> None:
    """Say before any work is done what would keep ``write_beside`` from writing these names.

    Raises
    ------
    OutputError
        As ``write_beside``.
    """
    with _told(out):
        target = Path(out)
        if _is_folder(target, out):
            with _held(target, out, PATIENCE):
                _check_ours(target, out, names, force=force)
                _check_places(target, names)
        _try_out(target)


@contextlib.contextmanager
def hold(out: str, *, patience: float = 0.0) -> Iterator[None]:
    """Keep other runs out of a folder for the length of a block; the folder is made.

    ``patience`` is how long to wait for another run there, s.

    Raises
    ------
    OutputError
        When another run is at work there, or the folder can't be made.
    """
    with contextlib.ExitStack() as held:
        with _told(out):
            held.enter_context(_folder(out))
            held.enter_context(_held(Path(out), out, patience))
        yield


def stands(out: str, stamp: str) -> bool:
    """Whether the folder holds the whole set that was written with this stamp, unchanged."""
    target = Path(out)
    try:
        with transaction.locked(target, patience=PATIENCE):
            transaction.recover(target)
            listing = json.loads(transaction.read_record(target / LIST_NAME))
            return listing.get("stamp") == stamp and all(
                _is_unchanged(target / name, listed) for name, listed in _listed(target).items()
            )
    except (OSError, ValueError, AttributeError, RecursionError):
        return False


def write_file(path: str, content: bytes, *, force: bool = False) -> None:
    """One file, whole or not at all; an old one only where ``force`` says so.

    Raises
    ------
    OutputError
        When it can't be written; an old one still stands.
    """
    with _told(path):
        target = _file_place(path, force=force)
        try:
            with transaction.locked(target.parent, patience=PATIENCE):
                transaction.write_whole(target, content, replace=force)
        except FileExistsError:
            raise OutputError(_there_already(path)) from None


def check_file(path: str, *, force: bool = False) -> None:
    """Say before any work is done what would keep ``write_file`` from writing.

    Raises
    ------
    OutputError
        As ``write_file``.
    """
    with _told(path):
        target = _file_place(path, force=force)
        if target.parent.is_dir():
            _try_out(target.parent)
        else:
            target.parent.stat()


def check_growing_file(path: str) -> None:
    """Say before any work is done what would keep a file from being made or added to.

    Raises
    ------
    OutputError
        Where it, or a folder that it is not in yet, can't be written.
    """
    with _told(path):
        if not _file_place(path, force=True).exists():
            check_file(path)


def remove_file(path: str) -> None:
    """Remove a file, where there is one; raises OutputError where it can't be removed."""
    with _told(path):
        Path(path).unlink(missing_ok=True)


def _file_place(path: str, *, force: bool) -> Path:
    """Where a file goes, behind a link; raises OutputError where something is in its way."""
    if os.path.lexists(path) and not force:
        raise OutputError(_there_already(path))
    target = Path(os.path.realpath(path))
    if kind := special_kind(target):
        raise OutputError(Fault(where=path, wrong=f"is {kind}, not a file"))
    if target.exists() and not os.access(target, os.W_OK):
        raise OutputError(Fault(where=path, wrong="can't be written (it is read-only)"))
    return target


def _there_already(path: str) -> Fault:
    return Fault(
        where=path, wrong="already exists", fix="choose another name, or overwrite it with --force"
    )


@contextlib.contextmanager
def _told(where: str) -> Iterator[None]:
    """What the system says, as one line of ours."""
    if not where:
        raise OutputError(
            Fault(where="''", wrong="is not a name", fix="write '.' for the folder you are in")
        )
    try:
        yield
    except transaction.BusyError:
        wrong = "another run of blankcam is writing there"
        fix = "wait until it is done, or use another folder"
        raise OutputError(Fault(where=where, wrong=wrong, fix=fix)) from None
    except transaction.HalfDoneError as fault:
        wrong = f"the change is not complete, old files may stand among new ones ({_reason(fault)})"
        fix = "run the command again: it completes the change first"
        raise OutputError(Fault(where=where, wrong=wrong, fix=fix)) from None
    except (OSError, ValueError) as fault:
        raise OutputError(
            Fault(where=where, wrong=f"can't be written ({_reason(fault)})")
        ) from None


def _reason(fault: Exception) -> str:
    return (fault.strerror or "").lower() if isinstance(fault, OSError) else str(fault)


@contextlib.contextmanager
def _folder(out: str) -> Iterator[Path]:
    """The folder, made where there is none; what was made goes again where the block fails."""
    target = Path(out)
    made: list[Path] = []
    try:
        for place in (*reversed(target.parents), target):
            if not _is_folder(place, str(place)):
                with contextlib.suppress(FileExistsError):  # another run made it meanwhile
                    place.mkdir()
                    made.append(place)
        yield target
    except BaseException:
        for place in reversed(made):
            with contextlib.suppress(OSError):
                place.rmdir()
        raise


@contextlib.contextmanager
def _held(target: Path, out: str, patience: float) -> Iterator[None]:
    """The folder locked, and what a run that died left in it put right."""
    with transaction.locked(target, patience=patience):
        try:
            transaction.recover(target)
        except ValueError as unclear:
            fix = f"look at that file, then remove {transaction.JOURNAL} and run again"
            raise OutputError(Fault(where=out, wrong=str(unclear), fix=fix)) from None
        yield


def _is_folder(target: Path, out: str) -> bool:
    """Whether there is such a folder; raises OutputError where it is something else."""
    try:
        mode = target.stat().st_mode
    except FileNotFoundError:
        return False
    if not stat.S_ISDIR(mode):
        raise OutputError(
            Fault(where=out, wrong=f"is {special_kind(target) or 'a file'}, not a folder")
        )
    return True


def _try_out(target: Path) -> None:
    """Raise OSError where nothing can be written; what is tried leaves no trace."""
    while not target.exists() and target != target.parent:
        target = target.parent
    with tempfile.TemporaryFile(dir=target):
        pass


def _sorted(target: Path) -> tuple[list[str], list[str]]:
    """Names in the folder: those of files as we wrote them, and all others."""
    listed = _listed(target)
    names = sorted(e.name for e in os.scandir(target) if e.name != LIST_NAME)
    ours = [n for n in names if n in listed and _is_unchanged(target / n, listed[n])]
    return ours, [n for n in names if n not in set(ours)]


def _check_ours(target: Path, out: str, names: Collection[str], *, force: bool) -> None:
    """Raise OutputError where one of the names is the maker's, unless it may be replaced."""
    listed = _listed(target)
    foreign = [
        name
        for name in names
        if os.path.lexists(target / name)
        and not (name in listed and _is_unchanged(target / name, listed[name]))
    ]
    if foreign and not force:
        raise OutputError(_foreign_fault(out, foreign, foreign))


def _check_not_the_makers(target: Path, out: str, names: Collection[str]) -> None:
    """Raise OutputError where one of the names is of a file that was never of this tool."""
    listed = _listed(target)
    makers = [n for n in sorted(names) if n not in listed and not special_kind(target / n)]
    if makers:
        wrong = f"holds files of your own that would be overwritten: {', '.join(makers[:3])}"
        fix = "move them away, or use another folder"
        raise OutputError(Fault(where=out, wrong=wrong, fix=fix))


def _check_places(target: Path, names: Collection[str]) -> None:
    """Raise OutputError where a file is to take the place of what no file may replace."""
    for name in (*names, LIST_NAME):
        if kind := special_kind(target / name, follow=False):
            wrong = f"is {kind}, and a file of that name is to be written"
            fix = "move it away, or use another folder"
            raise OutputError(Fault(where=str(target / name), wrong=wrong, fix=fix))


def _listed(target: Path) -> dict[str, _Listed]:
    """Our files by name, as they were written; none where the list is damaged."""
    try:
        listing = json.loads(transaction.read_record(target / LIST_NAME))
        sizes = listing.get("sizes", {})
        return {
            name: _Listed(str(digest), sizes.get(name))
            for name, digest in listing["files"].items()
            if transaction.is_plain(name)
        }
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return {}


def _is_unchanged(path: Path, listed: _Listed) -> bool:
    """Whether a file is as it was written; read only where its size does not tell."""
    try:
        found = path.lstat()
        if not stat.S_ISREG(found.st_mode) or listed.size not in (None, found.st_size):
            return False
        with path.open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest() == listed.digest
    except OSError:
        return False


def _foreign_fault(out: str, foreign: Collection[str], files: Collection[str]) -> Fault:
    changed = [name for name in foreign if name in files]
    what = "that would be overwritten and that you changed" if changed else "of your own"
    shown = [_withspecial_kind(out, name) for name in (changed or sorted(foreign))[:3]]
    names = ", ".join(shown) + (" and more" if len(changed or foreign) > 3 else "")
    return Fault(
        where=out, wrong=f"holds files {what}: {names}", fix="choose another folder, or --force"
    )


def _withspecial_kind(out: str, name: str) -> str:
    kind = special_kind(Path(out) / name, follow=False)
    return f"{name} ({kind})" if kind else name


def _list_of(files: Mapping[str, bytes], others: Mapping[str, _Listed], stamp: str) -> bytes:
    """The list of what was written; ``others`` stay in it."""
    new = {n: _Listed(hashlib.sha256(c).hexdigest(), len(c)) for n, c in files.items()}
    every = {**others, **new}
    listing = {
        "files": {n: listed.digest for n, listed in every.items()},
        "sizes": {n: listed.size for n, listed in every.items() if listed.size is not None},
        "stamp": stamp,
    }
    return (json.dumps(listing, indent=1, sort_keys=True) + "\n").encode()
