"""The digest by which a program says that it is as written, and for which job."""

from __future__ import annotations

import hashlib
import re

from blankcam.statements import COMMENT, LINE_END, read_statements, squeezed

_LINE_NUMBER = re.compile(r"^N\d+")
LENGTH = 16


def of_text(text: str) -> str:
    """Sixteen hex digits of SHA-256 over the text in UTF-8."""
    return hashlib.sha256(text.encode()).hexdigest()[:LENGTH]


def of_program(program: str) -> str:
    """Digest of what a machine and its operator act on: the words, the header, the stops' texts.

    Spaces, letter case, line numbers, blank lines, ends of lines and any other comment may change
    without changing it; any word, and any statement of ``blankcam.statements``, may not.
    """
    kept = []
    for line in LINE_END.split(program):
        bare = re.sub(r"\s", "", COMMENT.sub("", line)).upper()
        bare = _LINE_NUMBER.sub("", bare)
        if bare and bare != "%":
            kept.append(bare)
    stated = read_statements(program).items()
    kept += [f"{squeezed(name)}={squeezed(text)}" for name, text in sorted(stated)]
    return of_text("\n".join(kept))
