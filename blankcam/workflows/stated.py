"""A program's header and stops compared with job, blank and machine as they are now."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

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
ALONE = ("machine", "material")
"""What a load's program states as a part of the load would state it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedDifference:
    """A statement of a program that is not what would be written today."""

    name: str
    """Of the statement: ``zero``, ``tool 2``, ``place 1``, ``stop 1``."""
    given: str
    today: str

    @property
    def code(self) -> Code:
        """Of the finding that it is."""
        return CODES[self.name.split()[0]]

    def finding(self, program: str) -> Finding:
        """What is wrong with the program of that name."""
        what = self.name.replace("hold", "holding")
        given, today = (self._quoted(text) for text in (self.given, self.today))
        said = f"states {what} {given}, but today it is {today}"
        return Finding(code=self.code, what=said, program=program)

    def _quoted(self, text: str) -> str:
        """A statement's text without the number that its name has already."""
        bare = text.removeprefix(self.name.partition(" ")[2]).lstrip()
        return f'"{printable(bare, LONGEST)}"' if text else "nothing"


def stated_differences(
    given: bytes, today: str, words: Sequence[str] = tuple(CODES)
) -> Iterator[StatedDifference]:
    """Each statement of a program that is not what would be written today.

    ``today`` is that program's text as it would be written now; ``words`` begin the statements that
    are compared. A program that states nothing at all, as one written by hand, has nothing to be
    compared.
    """
    said = read_statements(given.decode("ascii", "replace"))
    if not any(word in said for word in ("zero", "stock", "hold")):
        return
    for name, found, now in differences(said, read_statements(today), tuple(words)):
        yield StatedDifference(name=name, given=found, today=now)
