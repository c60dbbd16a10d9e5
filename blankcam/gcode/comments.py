"""Comments in a program: text that can do no harm, in the controller's style."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator

from blankcam.inputs.machine import Controller

_UNWANTED = re.compile(r"[^A-Za-z0-9 .,\-+=/_]+")
_ACTING = re.compile(r"^\s*(MSG|DEBUG|PRINT|LOG|PROBE)", re.IGNORECASE)


def clean(text: str) -> str:
    """Text that can do no harm in a comment: letters, digits, space and ``. , - + = / _``."""
    kept = " ".join(_UNWANTED.sub(" ", text).split())
    return f"- {kept}" if _ACTING.match(kept) else kept


def comment(controller: Controller, text: str) -> Iterator[str]:
    """A comment in the controller's style, wrapped to its line length."""
    room = controller.line_length - 2
    lines = textwrap.wrap(clean(text), room)
    if any(_ACTING.match(line) for line in lines):
        lines = textwrap.wrap(clean(text), room - 2)
    for line in lines:
        safe = f"- {line}" if _ACTING.match(line) else line
        yield f"; {safe}" if controller.comments == "semicolon" else f"({safe})"
