"""Someone at the bench with a fixture's list alone: which blank stands where, and what is run."""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from tests.newcomer.programs_read import LENGTH, NUMBER, Stated, mm, need
from tests.newcomer.walk import EXACT, NEAR, Walk

LOAD = re.compile(r"(?P<stem>load-\d+-(?P<part>nut|saddle)): .*")
ROW = re.compile(
    rf"^\| (\d+) \| [^|]+ \| `([^`]+)` \| ({NUMBER}) x ({NUMBER}) x ({NUMBER}) \|$", re.MULTILINE
)
PLACE = re.compile(rf"\bplace:? (\d+) at X({LENGTH}) Y({LENGTH}) Z({LENGTH}):? (\S+), job digest")
SIDES = {"nut": "the fingerboard side", "saddle": "the tail side"}
"""What a maker calls the side that is seen from the bridge."""


@dataclass(frozen=True)
class Blank:
    """A row of the table; mm."""

    folder: str
    length: float
    height: float
    thickness: float


@dataclass
class FixtureWalk(Walk):
    """A fixture's list, followed from its first load to its last."""

    paper: str = "fixture.md"
    pitch: float = 0.0
    blanks: dict[int, Blank] = field(default_factory=dict)
    """What stands in the load in hand, by place."""
    tabbed: set[int] = field(default_factory=set)
    """Places whose blanks hang in their waste by tabs."""

    def done(self, text: str | None = None) -> FixtureWalk:
        """Follow it; StuckError where that can't be done."""
        text = text or (self.folder / self.paper).read_text(encoding="utf-8")
        apart = re.search(rf"places stand ({LENGTH}) apart along Y, place 1 at Y 0\.", text)
        need(apart, "does not say how far the places stand apart")
        need("take it away once the blanks are held" in text, "leaves the stop in the tools' way")
        need("before its first **Hold**" in text, "does not say when each blank is rubbed down")
        self.pitch = mm(apart[1])
        super().done(text)
        return self

    def _begin(self, title: str) -> bool:
        load = LOAD.fullmatch(title)
        if load:
            self._take(load["part"], load["stem"])
            self.tabbed = set()
        return load is not None

    def _section(self, section: str) -> None:
        self.blanks = {
            int(place): Blank(folder, *map(float, size))
            for place, folder, *size in ROW.findall(section)
        }
        need(self.blanks, "has no table of what stands where")
        super()._section(section)

    def _step(self, step: str) -> None:
        bare = step.replace("**", "")
        if bare.startswith("Set on "):
            self._set(bare)
        else:
            super()._step(step)
        if bare.startswith("Free them"):
            named = re.search(r"\(place ([\d, ]+)\)", bare)
            need(named, "does not say which blanks are sawn free")
            self.tabbed -= set(map(int, named[1].split(", ")))

    def _run(self, file: Stated, named: list, at_stops: object) -> None:
        super()._run(file, named, at_stops)
        text = (self.folder / file.name).read_text(encoding="ascii")
        if not file.air:
            self.tabbed |= {
                int(n) for n in re.findall(r"^[(;] ?outline:? place (\d+)", text, re.MULTILINE)
            }

    def _set(self, step: str) -> None:
        """All blanks against the stop, held and zeroed."""
        machine = self.machine
        machine.freed()
        machine.dry_by = 0.0
        machine.held, zero, rest = step.partition("Zero, ")
        machine.setup = re.match(r"Set on (\w+)", step)[1]
        need(zero, "does not say how the set-up is zeroed")
        need(not self.tabbed, f"place {sorted(self.tabbed)} still hangs in its waste")
        need("left ends at the stop" in machine.held, "does not say where the blanks go along X")
        self._stand_as_said(step)
        self._zero(rest)

    def _stand_as_said(self, step: str) -> None:
        """Each blank where the file's own header has it, and the box of all of them."""
        file = self._first_file()
        head = " ".join(
            re.sub(r"^[(;] ?|\)$", "", s)
            for s in (self.folder / file.name).read_text(encoding="ascii").splitlines()
            if s.startswith(("(", ";"))
        )
        theirs = {int(n): (name, mm(x, file.inch), mm(y, file.inch), mm(z, file.inch))
                  for n, x, y, z, name in PLACE.findall(head)}  # fmt: skip
        named = re.search(r"places? ([\d, ]+(?: and \d+)?):", step)
        need(named, "does not say which places are filled")
        ours = [int(n) for n in re.findall(r"\d+", named[1])]
        need(ours == sorted(theirs), f"fills places {ours}; {file.name}: {sorted(theirs)}")
        for place, (name, _, y, _) in theirs.items():
            blank = self.blanks.get(place)
            need(blank, f"{file.name} has a blank in place {place}, and the table none")
            need(blank.folder == name, f"place {place} has {blank.folder}; {file.name} says {name}")
            at = (place - 1) * self.pitch
            need(abs(at - y) <= EXACT, f"place {place} is at Y {at:g}; {file.name} says {y:g}")
        if self.machine.setup == "face":
            self._as_large(file, ours)

    def _as_large(self, file: Stated, places: list[int]) -> None:
        """The box of all blanks as they go in, lying down: length, height over Y, thickness up."""
        each = [(p, self.blanks[p]) for p in places]
        ours = {
            "x": max(b.length for _, b in each),
            "y": max((p - 1) * self.pitch + b.height for p, b in each),
            "z": max(b.thickness for _, b in each),
        }
        for axis, most in ours.items():
            theirs = file.stock[axis][1]
            need(abs(most - theirs) <= NEAR, f"the blanks reach to {axis.upper()} {most:g}; "
                                             f"{file.name} says {theirs:g}")  # fmt: skip

    def _toward_you(self, held: str, zeros: dict[str, tuple[str, float]]) -> None:
        """Lying, the seat side is toward you; on edge the side seen from the bridge."""
        need("Y" in zeros, "does not say how Y is zeroed")
        lying = self.machine.setup == "face"
        toward = "seat side toward you" if lying else "the side seen from the bridge toward you"
        need(toward in held, f"does not say {toward}: {held}")
        first = "the seat side of the first blank" if lying else (
            "the side of the first blank that is seen from the bridge")  # fmt: skip
        need(zeros["Y"][0] == first, f"Y is touched on {zeros['Y'][0]}, away from you")
        own = SIDES[self.part]
        need(lying or f"toward you, {own}" in held, f"does not say that this is {own}: {held}")
