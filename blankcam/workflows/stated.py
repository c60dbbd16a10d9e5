"""A program's header, stops and name compared with job, blank and machine as they are now."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import PurePath

from blankcam.faults import printable
from blankcam.gcode.header import ENDING, stem_in_name
from blankcam.inputs.machine import Profile
from blankcam.replay.codes import Code
from blankcam.replay.events import EventKind
from blankcam.replay.findings import Finding
from blankcam.replay.reader import read_program
from blankcam.statements import differences, read_statements, squeezed

LONGEST = 160
"""Characters of a statement that are shown."""
CODES = {
    "zero": Code.STATED_ZERO,
    "probes": Code.STATED_ZERO,
    "place": Code.STATED_ZERO,
    "hold": Code.STATED_HOLDING,
    "stock": Code.STATED_STOCK,
    "tool": Code.STATED_TOOL,
    "stop": Code.STATED_TOOL,
    "step": Code.STATED_TOOL,
    "machine": Code.STATED_MACHINE,
    "material": Code.STATED_MATERIAL,
    "makes": Code.STATED_PROGRAM,
    "job": Code.STATED_PROGRAM,
    "file": Code.STATED_PROGRAM,
    "look": Code.STATED_LOOK,
}
"""The code of a statement that differs, by the word it begins with."""
SHOWN = {"hold": "holding", "file": "its file as", "probes": "that it probes"}
"""What a statement is called where its name does not do."""
LOOK_OFF = 0.01
"""mm by which the tool may stand beside where an air program tells it; places are told to 0.01."""
ALONE = ("machine", "material")
"""What a load's program states as a part of the load would state it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedDifference:
    """A statement of a program that is not what would be written today."""

    name: str
    """Of the statement: ``zero``, ``tool 2``, ``place 1``, ``stop 1``; ``file`` of the name of its
    file, ``look 1`` of where it stands at a stop."""
    given: str
    today: str

    @property
    def code(self) -> Code:
        """Of the finding that it is."""
        return CODES[self.name.split()[0]]

    def finding(self, program: str) -> Finding:
        """What is wrong with the program of that name."""
        word, blank, number = self.name.partition(" ")
        what = SHOWN.get(word, word) + blank + number
        given, today = (self._quoted(text) for text in (self.given, self.today))
        said = f"states {what} {given}, but today it is {today}"
        if word == "look":
            said = f"stands at {self.given} at stop {number}, but today it is {self.today}"
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
    are compared; its job's name only where it is that job's by its digest. A program that states
    nothing at all, as one written by hand, has nothing to be compared.
    """
    text = given.decode("ascii", "replace")
    said = read_statements(text)
    if not any(word in said for word in ("zero", "stock", "hold", "probes")):
        return
    compared = tuple(w for w in words if w != "job" or _of_one_job(text, today))
    for name, found, now in differences(said, read_statements(today), compared):
        yield StatedDifference(name=name, given=found, today=now)


def _of_one_job(given: str, today: str) -> bool:
    """Whether a program carries the digest of today's job."""
    digest = re.search("job digest [0-9a-f]+", today)
    return digest is not None and squeezed(digest[0]) in squeezed(given)


def other_file_name(path: str, stem: str) -> Iterator[StatedDifference]:
    """A file that is named as another of a part's programs than its header says."""
    named = stem_in_name(PurePath(path).name)
    if named not in (None, stem):
        yield StatedDifference(name="file", given=f"{stem}{ENDING}", today=f"{named}{ENDING}")


def moved_looks(given: bytes, today: str, profile: Profile) -> Iterator[StatedDifference]:
    """Each stop of an air program that stands elsewhere than it would today.

    By what is seen there the zeros are judged: a stop moved aside would have them set wrong.
    """
    there, here = (_stops(program, profile) for program in (given, today))
    for number, (at, wanted) in enumerate(zip(there, here, strict=False), start=1):
        if any(abs(a - b) > LOOK_OFF for a, b in zip(at, wanted, strict=True)):
            yield StatedDifference(name=f"look {number}", given=_place(at), today=_place(wanted))


def _stops(program: bytes | str, profile: Profile) -> list[tuple[float, float, float]]:
    events = read_program(program, profile, air=True).events
    return [e.at for e in events if e.kind is EventKind.STOP]


def _place(at: tuple[float, float, float]) -> str:
    return " ".join(f"{axis}{value:.2f}" for axis, value in zip("XYZ", at, strict=True))
