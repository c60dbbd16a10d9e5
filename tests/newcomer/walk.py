"""Someone at the bench with a list alone, on a machine made up of numbers.

What the list says is read as plain text by a small reader of its own, and done: a tool is fitted, a
surface is touched, a number is set, a file is run. The files are read as text too, so that what a
file would do there is told beside what it was written for. Nothing of blankcam is imported here.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from tests.newcomer.machine_of_numbers import FINDER, FINDER_WIDTH, PROBE, Machine
from tests.newcomer.programs_read import (
    LENGTH,
    NUMBER,
    TOUCH_Z,
    Stated,
    StuckError,
    mm,
    need,
    stated,
    zeros_in,
)

NEAR = 0.008
"""mm: a header tells lengths to 0.01 mm or 0.0001 in, and a place is the sum of some."""
EXACT = 0.0015
"""mm: numbers to set are told to 0.001, in inches to 0.00005."""
TOOL = re.compile(
    rf"T(?P<number>\d+) (?P<shape>[a-z]+(?: [a-z]+)?) (?P<size>{NUMBER})(?: \({NUMBER}\))"
    rf"(?: at the tip, {NUMBER} deg)?"
)
OUT = re.compile(rf"({NUMBER}) \({NUMBER}\) out of the collet")
NAMED = re.compile(r"`([\w-]+\.\w+)`")
GONE = {
    "outline": {"the left end of the blank"},
    "top": {"the top of the blank", "the upper face", "the blank"},
    "clear": {"the top of the blank", "the upper face", "the blank"},
    "thickness": {"the top of the blank", "the upper face", "the blank"},
    "crown": {"the top of the blank", "the upper face", "the blank"},
}
"""What an operation leaves nothing of, as a surface would be called."""
SEEN_DONE = ("flush", "in the table", "no light", "does not rock", "template", ".pdf`", ".dxf`",
             "in every notch", "as its head says", "with the name of its job")  # fmt: skip
"""By what else than a number a hand sees that a step is done."""
TO_WRITE = ".toml`"
PART = re.compile(r"(Nut|Saddle)(?: on the machine)?")
"""Titles of the sections whose steps are done on one part."""


@dataclass
class Walk:
    """One bench list, or one refit's, followed from its first step to its last."""

    folder: Path
    paper: str = "bench.md"
    finder: bool = True
    """X and Y by an edge finder; else by a tool's side, where the list allows it."""
    machine: Machine = field(default_factory=Machine)
    ran: list[str] = field(default_factory=list)
    set_numbers: int = 0
    cut: set[str] = field(default_factory=set)
    """Surfaces of the part in hand that are no more."""
    outlined: bool = False
    part: str = ""
    stem: str = ""
    """How the names of the files of the part in hand begin."""

    def done(self, text: str | None = None) -> Walk:
        """Follow it; StuckError where that can't be done."""
        text = text or (self.folder / self.paper).read_text(encoding="utf-8")
        head, *sections = re.split(r"^## ", text, flags=re.MULTILINE)
        self.machine.dry_by, _ = dry_by(head)
        for section in sections:
            self._section(section)
        self._nothing_forgotten(text)
        return self

    def _section(self, section: str) -> None:
        title = section.split("\n", 1)[0]
        on_a_part = self._begin(title)
        for number, step in steps_of(section):
            try:
                self._step(step)
                self._seen_done(step, section, on_a_part=on_a_part)
            except StuckError as stuck:
                raise StuckError(f"{title}, step {number}: {stuck}") from None

    def _seen_done(self, step: str, section: str, *, on_a_part: bool) -> None:
        has_its_measure(step, section, on_a_part=on_a_part)

    def _begin(self, title: str) -> bool:
        """Whether the section of that title has the steps of a part, which is then in hand."""
        if part := PART.fullmatch(title):
            self._take(part[1].lower(), part[1].lower())
        return part is not None

    def _take(self, part: str, stem: str) -> None:
        """Take a part in hand that nothing was done to yet."""
        self.part, self.stem, self.cut, self.outlined = part, stem, set(), False
        self.machine.freed()

    def _step(self, step: str) -> None:
        bare = step.replace("**", "")
        for file in NAMED.findall(step):
            if file.endswith((".ngc", ".dxf", ".pdf", ".svg")):
                need((self.folder / file).exists(), f"names `{file}`, which is not there")
        if bare.startswith("Hold on "):
            self._hold(bare)
        elif bare.startswith(("Free it", "Free them", "Before unclamping", "To length")):
            self.machine.freed()
            if bare.startswith("To length"):
                self._sawn()
        elif bare.startswith("Dry first"):
            self.machine.dry_by = self._dry_told(step)
        elif bare.startswith("Zero by the probe"):
            self._probe(bare)
        elif bare.startswith("Fit "):
            self._fit_and_run(bare)
        elif bare.startswith("In the same way"):
            self._same_way(bare)
        else:
            need(".ngc`" not in bare, "runs a program out of any set-up")

    def _sawn(self) -> None:
        self.cut.add("the left end of the blank")
        self.outlined = True

    # -- held and zeroed

    def _hold(self, step: str) -> None:
        machine = self.machine
        machine.work_moved()
        held, zero, rest = step.partition("Zero (")
        machine.held = held
        need(zero, "does not say how the set-up is zeroed")
        card = re.match(r"`setup-(\w+)-(\w+)\.svg`", rest)
        need(card and card[1] == self.part, f"names no drawing of how the {self.part} is held")
        machine.setup = card[2]
        self._zero(rest)

    def _zero(self, words: str) -> None:
        """Every axis that is told of: what is fitted and touched, and which number is set."""
        machine, held = self.machine, self.machine.held
        head, _, how = words.partition(": ")
        fitted = re.search(r"T(\d+) fitted", head)
        need(fitted, "does not say with what Z is touched")
        first = self._first_file()
        zeros, sides, touch, tip = self._numbers(how, first)
        number = int(fitted[1])
        self._toward_you(held, zeros)
        by_tool = not self.finder and bool(sides)
        if not by_tool and zeros.keys() & {"X", "Y"}:
            need("edge finder" in head + how, "does not say with what X and Y are touched")
            machine.fit(FINDER)
            for axis in [a for a in "XY" if a in zeros]:
                self._side(axis, zeros[axis], FINDER_WIDTH / 2, zeros[axis][1] - FINDER_WIDTH / 2)
        machine.fit(number)
        if "its length in force" in head:
            machine.table.add(number)
            machine.in_force = number
        if "Z" in zeros:
            self._top(zeros["Z"], first)
        if by_tool:
            need(touch == number, f"T{number} is fitted, and T{touch} is to touch the sides")
            need("Z" in machine.offset, "a tip is to be at a Z before Z is set")
            stands = first.zeros["Z"][1]
            need(stands < tip < first.stock["z"][1], f"a tip at Z {tip:g} touches no side")
            paper = mm(re.search(rf"paper of ({LENGTH})", how)[1], first.inch)
            half = _diameter(first.tools, number, self._all_tools()) / 2
            for axis in [a for a in "XY" if a in zeros]:
                self._side(axis, zeros[axis], half + paper, sides[axis])

    def _numbers(self, how: str, first: Stated):
        """What the list sets, beside what the file's own header says; in the machine's own unit."""
        if first.inch:
            bare = re.search(
                rf"(?:set [XYZ] to|Set [XYZ] to|or to) ({NUMBER})(?!\d|\.\d| in\b)", how
            )
            need(not bare, f"{bare and bare[0]!r}: a machine in inches is told millimetres")
        found = zeros_in(how, first.inch)
        zeros, sides, touch, tip = found
        for axis, (surface, value) in zeros.items():
            theirs = first.zeros.get(axis)
            need(theirs is not None, f"{first.name} says nothing of {axis}")
            need(theirs[0] == surface, f"{axis} on {surface}; {first.name} says on {theirs[0]}")
            self._same(axis, value, theirs[1], first.name)
        for axis, value in sides.items():
            self._same(axis, value, first.sides.get(axis, float("nan")), first.name)
        if touch is not None:
            need(touch == first.touch, f"T{touch} touches; {first.name} says T{first.touch}")
            self._same("a tip's Z", tip, first.tip, first.name)
        return found

    def _same(self, what: str, told: float, theirs: float, name: str) -> None:
        need(abs(told - theirs) <= EXACT, f"{what} {told:g} mm; {name} says {theirs:g} mm")

    def _toward_you(self, held: str, zeros: dict[str, tuple[str, float]]) -> None:
        """Y is touched from the side that the maker stands on."""
        if "Y" in zeros:
            side = re.search(r"(the [a-z]+ side|seat side) toward you", held)
            need(side, "does not say which side is toward you")
            toward = "the " + side[1].removeprefix("the ")
            need(zeros["Y"][0] == toward, f"Y is touched on {zeros['Y'][0]}, away from you")

    def _side(self, axis: str, zero: tuple[str, float], half: float, to: float) -> None:
        surface, _ = zero
        self._reachable(surface)
        stands = self._first_file().stock[axis.lower()][0]
        self.machine.touch_side(axis, stands, half, to)
        self.set_numbers += 1

    def _top(self, zero: tuple[str, float], file: Stated) -> None:
        surface, to = zero
        self._reachable(surface)
        self.machine.touch_top(_height_of(surface, file), to)
        self.set_numbers += 1

    def _reachable(self, surface: str) -> None:
        """Whether a surface is there to be touched, and what was said of the holding has one."""
        held = self.machine.held
        need(surface not in self.cut, f"{surface} is to be touched, and is cut away")
        if surface == "the left end as cut":
            need(self.outlined, "the left end as cut is to be touched, and is not cut yet")
        for its, there in (("the jaw top", "jaws"), ("the top of the walls", "walls"),
                           ("the waste board", "waste board")):  # fmt: skip
            need(surface != its or there in held, f"{its} is to be touched; the holding has none")

    # -- probes

    def _probe(self, step: str) -> None:
        """The probing program's own lines, done: touch, and set what it touches."""
        file = NAMED.findall(step)[0]
        lines = (self.folder / file).read_text(encoding="ascii").splitlines()
        machine, first = self.machine, self._first_file()
        machine.fit(PROBE)
        size = mm(re.search(rf"Fit the probe, ({LENGTH}) across", " ".join(lines))[1], first.inch)
        machine.offset = {}
        axis = ""
        for line in lines:
            if found := re.match(r"G38\.2 ([XYZ])", line):
                axis = found[1]
            if found := re.match(rf"G10 L20 P1 ([XYZ])({NUMBER})", line):
                need(found[1] == axis, f"{file} sets {found[1]} after touching {axis}")
                value = mm(found[2], first.inch)
                if axis == "Z":
                    machine.touch_top(_height_of(first.zeros["Z"][0], first), value)
                else:
                    machine.touch_side(axis, first.stock[axis.lower()][0], size / 2, value)
                self.set_numbers += 1
        again = re.search(r"T(\d+) fitted", step)
        if again:
            machine.fit(int(again[1]))
            if "its length in force" in step:
                machine.table.add(machine.spindle)
                machine.in_force = machine.spindle
            self._touch_again(step)

    # -- fitted and run

    def _fit_and_run(self, step: str) -> None:
        """A set-up's first tools, what is touched and set for them, and the files they are for."""
        before, _, _ = step.partition("run `")
        tools = self._tools(before, step)
        if "each length is in the controller's table" in before:
            self.machine.table |= {t for t, *_ in tools}
        elif re.search(r"\bfit it\b", before):
            need(len(tools) == 1, "fits several tools at once")
            self.machine.fit(tools[0][0])
            if "length is in the controller's table" in before:
                self.machine.table.add(tools[0][0])
            elif TOUCH_Z.search(before):
                self._touch_again(before)
        self._run_each(step, tools)

    def _same_way(self, step: str) -> None:
        """Each other file: its tool fitted, the same surface touched, the same number set."""
        head, _, rest = step.partition(": ")
        touch = TOUCH_Z.search(head)
        for each in re.split(r"; (?=T\d+ )", rest):
            tools = self._tools(each, step)
            need(len(tools) == 1, "fits several tools for one file")
            self.machine.fit(tools[0][0])
            if touch:
                self._touch_again(touch[0])
            self._run_each(each, tools)

    def _touch_again(self, words: str) -> None:
        found, first = TOUCH_Z.search(words), self._first_file()
        need(found, "does not say what to touch off on, and which number to set Z to")
        to = found["to"]
        need(not first.inch or " in" in to.split("(")[0], f"Z to {to} on a machine in inches")
        self._same("Z", mm(to, first.inch), first.zeros["Z"][1], first.name)
        self._top((found["on"], mm(to, first.inch)), first)

    def _tools(self, words: str, step: str) -> list[tuple[int, str, float, float]]:
        """Tools as they are named, each with how far it sticks out."""
        found = []
        shared = OUT.search(step.partition(": ")[0]) if step.startswith("In the same way") else None
        for tool in TOOL.finditer(words):
            out = shared or OUT.search(words, tool.end())
            need(out, f"does not say how far T{tool['number']} sticks out")
            found.append((int(tool["number"]), tool["shape"], float(tool["size"]), float(out[1])))
        need(found, "fits no tool")
        return found

    def _run_each(self, words: str, tools: list[tuple[int, str, float, float]]) -> None:
        for name in re.findall(r"run `([^`]+\.ngc)`", words):
            at_stops = re.search(r"at each of its stops fit the tool that it names \((.*?collet)\)"
                                 r"(.*?), then resume", words)  # fmt: skip
            more = self._tools(at_stops[1], words) if at_stops else []
            self._run(stated(self.folder / name), [*tools, *more], at_stops and at_stops[2])
            self._dry(name, words)

    def _dry_told(self, step: str) -> float:
        """How much lower Z is set for a dry run of the set-up in hand."""
        lower, of = dry_by(step)
        number = self._first_file().zeros["Z"][1]
        need(lower, "does not say how much lower Z is set")
        need(abs(of - number) <= EXACT, f"lower than {of:g}; the number given is {number:g}")
        return lower

    def _dry(self, name: str, words: str) -> None:
        said = words.partition(f"run `{name}`")[2].partition("run `")[0]
        if "dry first" in said:
            file = stated(self.folder / name)
            need(self.machine.dry_by, "a dry run, and no number that Z is to be set lower by")
            up = file.lowest + self._raised(file)
            need(up > file.stock["z"][1], f"a dry run of {name} would go into the blank")

    def _raised(self, file: Stated) -> float:
        """By how much a file runs higher where Z is set lower for it."""
        machine, tool = self.machine, self.machine.spindle
        before = machine.offset["Z"]
        machine.in_force = tool if file.with_length else None
        surface, value = file.zeros["Z"]
        machine.touch_top(_height_of(surface, file), value - machine.dry_by)
        up = machine.off(tool, with_length=file.with_length)["Z"]
        machine.offset["Z"] = before
        return up

    def _run(self, file: Stated, named: list[tuple[int, str, float, float]], at_stops) -> None:
        machine = self.machine
        need(file.name not in self.ran, f"{file.name} is run twice")
        ours = file.name.startswith(self._prefix())
        need(machine.held and ours, f"{file.name} is of another set-up")
        missing = [a for a in "XYZ" if a not in machine.offset]
        need(not missing, f"{file.name} is run and {', '.join(missing)} not zeroed since the work "
                          "was moved")  # fmt: skip
        need(file.air or machine.air_run, f"{file.name} is run before the air program")
        self._held_as_said(file)
        self._tools_as_said(file, named)
        for i, tool in enumerate(file.called):
            if file.fetched:
                machine.fit(tool)
                need(file.with_length is False or tool in machine.table,
                     f"{file.name} counts on the length of T{tool}, which nobody put in")  # fmt: skip
            elif i and tool != machine.spindle:
                need(
                    at_stops is not None,
                    f"{file.name} stops for T{tool}, and the list says nothing of it",
                )
                machine.fit(tool)
                if TOUCH_Z.search(at_stops):
                    self._touch_again(at_stops)
            need(machine.spindle == tool, f"{file.name} is for T{tool}, and "
                                          f"{_named(machine.spindle)} is fitted")  # fmt: skip
            off = machine.off(tool, with_length=file.with_length)
            wrong = {a: v for a, v in off.items() if abs(v) > NEAR}
            need(not wrong, f"{file.name}: T{tool} comes to another place: "
                            + ", ".join(f"{a} {v:+.3f} mm" for a, v in wrong.items()))  # fmt: skip
        machine.air_run = machine.air_run or file.air
        for operation in () if file.air else file.operations:
            self.cut |= GONE.get(operation, set())
            self.outlined = self.outlined or operation == "outline"
        self.ran.append(file.name)

    def _held_as_said(self, file: Stated) -> None:
        """The list's holding beside the file's: by what, how high, and how much stands out."""
        held = self.machine.held
        by = re.search(rf"(jaws|walls) up to ({LENGTH})", file.hold)
        if by:
            said = re.search(
                rf"(jaws|walls) up to ({LENGTH}) over (?:it|where it rests), "
                rf"(?:at most )?({LENGTH}) out of them",
                held,
            )
            need(said, f"does not say how high it is held; {file.name}: {file.hold}")
            need(said[1] == by[1], f"held by {said[1]}; {file.name} says {by[1]}")
            high, out = mm(said[2]), mm(said[3])
            need(abs(high - mm(by[2], file.inch)) <= NEAR, f"{said[0]}; {file.name}: {file.hold}")
            need(abs(high + out - file.stock["z"][1]) <= 2 * NEAR, f"{said[0]}, of "
                 f"{file.stock['z'][1]:g} mm")  # fmt: skip
        down = re.search(r"over where the crown rests|over the seat side", file.hold)
        if down:
            side = "crown down" if "crown" in down[0] else "seat side down"
            need(side in held, f"{file.name} is cut {side}: {held}")
        for word in ("clamp at each end", "walls", "by tape", "glued"):
            need(word not in file.hold or word in held, f"{file.name} counts on {word}: {held}")

    def _tools_as_said(self, file: Stated, named: list[tuple[int, str, float, float]]) -> None:
        theirs = {t: (shape, size, out) for t, shape, size, out in file.tools}
        need(set(file.called) <= set(theirs), f"{file.name} calls tools that it does not name")
        ours = {t: (shape, size, out) for t, shape, size, out in named}
        for tool in dict.fromkeys(file.called):
            need(tool in ours, f"{file.name} asks for T{tool}, and the list fits "
                               f"{', '.join(map(_named, ours))}")  # fmt: skip
            same = ours[tool][0] == theirs[tool][0] and all(
                abs(a - b) <= NEAR for a, b in zip(ours[tool][1:], theirs[tool][1:], strict=True)
            )
            need(same, f"T{tool} is {ours[tool]}; {file.name} says {theirs[tool]}")

    # -- the whole

    def _first_file(self) -> Stated:
        """The first program that cuts in the set-up in hand; found by the names in the folder."""
        return stated(self._cutting()[0])

    def _cutting(self) -> list[Path]:
        return [p for p in sorted(self.folder.glob(f"{self._prefix()}*.ngc"))
                if not p.stem.endswith(("-air", "-probe"))]  # fmt: skip

    def _prefix(self) -> str:
        """How the names of the files of the set-up in hand begin."""
        return "-".join(filter(None, (self.stem, self.machine.setup)))

    def _all_tools(self) -> list[tuple[int, str, float, float]]:
        return [t for p in self._cutting() for t in stated(p).tools]

    def _nothing_forgotten(self, text: str) -> None:
        there = {p.name for p in self.folder.glob("*.ngc")}
        left = there - set(self.ran) - {n for n in there if n.endswith("-probe.ngc") and n in text}
        need(not left, f"never run: {', '.join(sorted(left))}")


def steps_of(section: str) -> Iterator[tuple[int, str]]:
    """A section's numbered steps."""
    for number, step in re.findall(r"^(\d+)\. (.*)$", section, re.MULTILINE):
        yield int(number), step


def dry_by(words: str) -> tuple[float, float]:
    """How much lower Z is set for a dry run, and than which number, mm; zeros without."""
    found = re.search(
        rf"\*\*Dry first\*\*.*?Z set ({LENGTH}) lower.*?: ({LENGTH}) for ({LENGTH})\.", words
    )
    if found is None:
        return 0.0, 0.0
    lower, instead, of = map(mm, found.groups())
    need(abs(of - instead - lower) <= NEAR, f"{instead:g} is not {lower:g} lower than {of:g}")
    return lower, of


def has_its_measure(step: str, section: str, *, on_a_part: bool) -> None:
    """Each step on a part has a number, or another way to see that it is done."""
    bare = re.sub(r"`[^`]*`|\*\*", "", step)
    measures = re.search(r"\bmeasure\b(?! again)|\bbrush\b|\bvacuum\b", bare, re.IGNORECASE)
    number = re.search(r"\d+\.\d+|\d+ deg", bare)
    if measures:
        where = TO_WRITE in step or ("in the table" in step and "| --- |" in section)
        need(number or where, "measures or cleans, and names no number")
    elif on_a_part:
        need(number or any(word in step for word in SEEN_DONE), "can't be seen to be done")


def _height_of(surface: str, file: Stated) -> float:
    """Where a surface to touch really stands, by what holds the blank, Z of the program."""
    held = re.search(rf"(?:jaws|walls) up to ({LENGTH})", file.hold)
    walls = re.search(rf"walls of a fixture, ({LENGTH})", file.hold)
    if surface == "the waste board":
        return file.stock["z"][0]
    if surface in ("the jaw top", "the top of the walls"):
        if walls:
            return file.stock["z"][0] + mm(walls[1], file.inch)
        need(held, f"{file.name} does not say where {surface} is: {file.hold}")
        return mm(held[1], file.inch)
    need(surface in ("the top of the blank", "the blank", "the upper face", "its top at the mark"),
         f"nobody knows where {surface} is")  # fmt: skip
    return file.stock["z"][1]


def _diameter(tools, number: int, others) -> float:
    found = [size for t, _, size, _ in (*tools, *others) if t == number]
    need(found, f"T{number} is touched with, and is no tool of the set-up")
    return found[0]


def _named(tool: str | int | None) -> str:
    return f"T{tool}" if isinstance(tool, int) else tool or "nothing"
