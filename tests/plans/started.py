"""Jobs as ``start`` writes them, the typical values under their marks taken as measured."""

from __future__ import annotations

import re

from blankcam.inputs import starter

MARKED = re.compile(r"^# (?=[a-z_0-9]+ = [\"{\[])", re.MULTILINE)


def started(kind: str, *, material: str, fit: str) -> str:
    """The job of a kind as its maker would leave it who finds all values as they are written.

    A blank is as thick as its seat: the hand brings it to its fit.
    """
    text = MARKED.sub("", starter.text(kind))
    for key, value in (("material", material), ("fit", fit)):
        text = re.sub(rf'^{key} = ".*"', f'{key} = "{value}"', text, flags=re.MULTILINE)
    return text
