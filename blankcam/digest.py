"""The digest by which a program says that it is as written, and for which job."""

from __future__ import annotations

import hashlib
import re

_COMMENTS = re.compile(r"\([^()]*\)|;.*")
_LINE_NUMBER = re.compile(r"^N\d+")
LENGTH = 16


def of_text(text: str) -> str:
    """Sixteen hex digits of SHA-256 over the text in UTF-8."""
    return hashlib.sha256(text.encode()).hexdigest()[:LENGTH]


def of_moves(program: str) -> str:
    """Digest of what a machine would act on: no comments, spaces, case, line numbers, blank lines.

    Reformatting a program that way keeps its digest; any change of a word changes it.
    """
    kept = []
    for line in program.splitlines():
        bare = re.sub(r"\s", "", _COMMENTS.sub("", line)).upper()
        bare = _LINE_NUMBER.sub("", bare)
        if bare and bare != "%":
            kept.append(bare)
    return of_text("\n".join(kept))
