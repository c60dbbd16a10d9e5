"""A program's header and stops compared with job, blank and machine as they are now."""

from __future__ import annotations

from collections.abc import Iterator

from blankcam.faults import printable
from blankcam.replay.codes import Code
from blankcam.replay.findings import Finding
from blankcam.statements import differences, read_statements

LONGEST = 160
"""Characters of a statement that are shown."""
CODES = {
    "zero": Code.STATED_ZERO,
    "place": Code.STATED_ZERO,
    "hold": Code.STATED_HOLDING,
    "stock": Code.STATED_STOCK,
    "tool": Code.STATED_TOOL,
    "stop": Code.STATED_TOOL,
    "step": Code.STATED_TOOL,
    "machine": Code.STATED_MACHINE,
    "material": Code.STATED_MATERIAL,
}
"""The code of a statement that differs, by the word it begins with."""
OF_A_LOAD = ("machine", "material", "hold")
"""What a load's program states as one blank's program does."""


def stated_differences(
    name: str, given: bytes, today: str, *, load: bool = False
) -> Iterator[Finding]:
    """A finding for each statement of a program that is not what would be written today.

    ``today`` is that program's text as it would be written now. A program that states nothing at
    all, as one written by hand, has nothing to be compared.
    """
    said = read_statements(given.decode("ascii", "replace"))
    if not any(word in said for word in ("zero", "stock", "hold")):
        return
    names = OF_A_LOAD if load else tuple(CODES)
    for what, found, now in differences(said, read_statements(today), names):
        of_it = what.replace("hold", "holding")
        yield Finding(
            code=CODES[what.split()[0]],
            what=f"states {of_it} {_quoted(found)}, but today it is {_quoted(now)}",
            program=name,
        )


def _quoted(text: str) -> str:
    return f'"{printable(text, LONGEST)}"' if text else "nothing"
