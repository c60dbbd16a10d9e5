"""What lies under a path where it is no plain file, in words."""

from __future__ import annotations

import stat
from pathlib import Path

_KINDS = (
    (stat.S_ISDIR, "a folder"), (stat.S_ISFIFO, "a pipe"), (stat.S_ISSOCK, "a socket"),
    (stat.S_ISBLK, "a device"), (stat.S_ISCHR, "a device"),
)  # fmt: skip


def special_kind(path: str | Path, *, follow: bool = True) -> str:
    """``a folder``, ``a pipe``, ...; nothing for a plain file, or where there is none.

    Raises
    ------
    OSError, ValueError
        When the system can't say, as for a loop of links.
    """
    try:
        mode = Path(path).stat(follow_symlinks=follow).st_mode
    except FileNotFoundError:
        return ""
    return next((words for test, words in _KINDS if test(mode)), "")


def why_no_file(path: str | Path) -> str:
    """Why a path can't be read as a file; nothing where it can. Raises as ``special_kind``."""
    if kind := special_kind(path):
        return f"is {kind}, not a file"
    return "" if Path(path).exists() else "there is no such file"
