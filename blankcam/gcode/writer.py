"""G-code from a program: RS274/NGC (NISTIR 6556) in the subset plain controllers also take.

A machine profile opens more: tool changes by M6, G43, G64, coolant, inches, ``%``, line numbers,
comments after ``;``. Nothing else is ever written.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field

from blankcam.gcode import changes, numbers
from blankcam.gcode.commanded import commanded
from blankcam.gcode.comments import comment
from blankcam.gcode.header import ENDING, header_lines, operation_words, signed, tool_words
from blankcam.gcode.program_file import ProgramFile
from blankcam.inputs.machine import Controller, PlanPosition, Profile, SafePlaces, ToolChange
from blankcam.inputs.tool import Tool
from blankcam.parts.frames import Place
from blankcam.toolpath import linearize
from blankcam.toolpath.moves import (
    AXES_OF_PLANE,
    ArcMove,
    LineMove,
    Note,
    Operation,
    Program,
    Rapid,
    Stop,
    walk,
)
from blankcam.toolpath.timing import estimate

BLEND = 0.002
"""mm that G64 may cut a corner."""


def write(program: Program, profile: Profile, job_name: str, job_digest: str) -> ProgramFile:
    """The text of a program for a machine.

    Parameters
    ----------
    job_name
        Hostile text: goes into a comment after sanitising.
    job_digest
        As the job carries it.
    """
    told = commanded(program, profile)
    times = estimate(told, profile)
    body = _Body(profile.controller, profile.spin_up, profile.safe_places)
    body.begin(told)
    for i, operation in enumerate(told.operations):
        body.operation(operation, told, told.operations[i - 1] if i else None)
    body.end(told)
    said = header_lines(program, profile, job_name, job_digest, times.total)
    head = [
        _in_units(profile.controller, words)
        for words in (*said, *_before_it(program, profile.controller))
    ]
    return ProgramFile(
        name=program.stem + ENDING,
        text=signed(_text(profile.controller, head, body.lines)),
        program=program,
        cut_length=body.cut_length,
        times=times,
    )


def _in_units(controller: Controller, words: str) -> str:
    """A header's words as the controller has lengths; nobody's name is one."""
    if words.startswith("job: "):
        return words
    if words.startswith("place "):
        place, colon, name = words.partition(": ")
        return changes.in_units_of(controller, place) + colon + name
    return changes.in_units_of(controller, words)


def _before_it(program: Program, controller: Controller) -> Iterator[str]:
    """What to do before a file of one tool is started."""
    if controller.tool_change is ToolChange.AUTOMATIC:
        return
    tool = program.tools[0]
    for n, step in enumerate(_steps(tool, program, controller), start=1):
        yield f"step {n}: {step}"
    yield "then start this file"


def _steps(tool: Tool, program: Program, controller: Controller) -> Iterator[str]:
    return changes.steps(tool, tool_words(tool), program.zeros, controller, _millimetres)


def _millimetres(value: float, decimals: int) -> str:
    return f"{value:.{decimals}f} mm"


def _text(controller: Controller, head: list[str], body: list[str]) -> str:
    lines = [line for words in head for line in comment(controller, words)]
    number = 0
    for line in body:
        if line.startswith(("(", ";")):
            lines.append(line)
            continue
        for fitted in _fitted(line, controller.line_length):
            number += 10 if controller.line_numbers else 0
            lines.append(_numbered(fitted, number, controller))
    if controller.percent:
        lines = ["%", *lines, "%"]
    return "\n".join(lines) + "\n"


def _fitted(line: str, length: int) -> Iterator[str]:
    """A line of code for a controller of short lines: its feed before it, spaces left out."""
    if len(line) > length and (at := line.rfind(" F")) > 0:
        yield line[at + 1 :]
        line = line[:at]
    yield line if len(line) <= length else line.replace(" ", "")


def _numbered(line: str, number: int, controller: Controller) -> str:
    """With its number, where one is wanted and there is room for it (it means nothing)."""
    if not controller.line_numbers:
        return line
    word = f"N{number % 100000}"
    for said in (f"{word} {line}", f"{word}{line.replace(' ', '')}"):
        if len(said) <= controller.line_length:
            return said
    return line


@dataclass(slots=True)
class _Body:
    """The moves as lines, and the modal state they leave; a receiver of the tool protocol."""

    controller: Controller
    spin_up: float
    places: SafePlaces
    lines: list[str] = field(default_factory=list)
    at: list[int | None] = field(default_factory=lambda: [None, None, None])
    plane: str = "G17"
    feed: str = ""
    cut_length: float = 0.0

    @property
    def units(self) -> str:
        return self.controller.units

    def begin(self, program: Program) -> None:
        """The states, and the way up: what comes before the first tool."""
        self.lines.append(f"{'G21' if self.units == 'mm' else 'G20'} G17 G90 G94 G40")
        self.lines += ["G49", "G54"]
        if self.controller.path_blending:
            blend = numbers.text_of(numbers.units_of(BLEND, self.units), self.units)
            self.lines.append(f"G64 P{blend}")
        if program.air:
            self.lines += ["M5", "M9"]
        if not self.controller.machine_coordinates:
            self.say(
                f"start: the tool goes straight to Z {program.clearance:.2f} mm from where it "
                "stands, then across. See that nothing is in its way, then resume"
            )
            self.lines.append("M0")

    def operation(self, operation: Operation, program: Program, before: Operation | None) -> None:
        """An operation's moves; a new tool's first come down over where it begins."""
        changed = before is None or before.tool.number != operation.tool.number
        if changed:
            self._change(operation, program, first=before is None)
        self.say(operation_words(operation))
        if not program.air:
            if changed or before is None or before.cut.rpm != operation.cut.rpm:
                self.lines.append(f"S{int(operation.cut.rpm)} M3")
            if changed and self.spin_up > 0:
                self.lines.append(f"G4 P{self.spin_up:.1f}")
            if changed and self.controller.coolant != "none":
                self.lines.append("M7" if self.controller.coolant == "mist" else "M8")
        if changed:
            self._come_down(operation, program.clearance)
        walk(operation.moves, self)

    def end(self, program: Program) -> None:
        """Up, the spindle off, and away from the blank so that it can be taken out."""
        self._up(program.clearance)
        self._plane("G17")
        self.lines += ["M5", "M9"]
        if self.controller.machine_coordinates:
            self._across(self.places.park)
        elif program.aside is not None:
            self.rapid(Rapid((*program.aside, math.nan)))
        self.lines.append("M30")

    def say(self, text: str) -> None:
        said = changes.in_units_of(self.controller, text)
        self.lines.extend(comment(self.controller, said))

    def rapid(self, move: Rapid) -> None:
        to = self._steps(move.to)
        kept = [self.at[i] is None and math.isnan(v) for i, v in enumerate(move.to)]
        words = self._axes(to, tuple(i for i in range(3) if kept[i]))
        if words:
            self.lines.append(f"G0 {words}")

    def line(self, move: LineMove) -> None:
        steps = self._steps(move.to)
        self._measure(steps)
        words = self._axes(steps)
        if words:
            self.lines.append(f"G1 {words}{self._feed(move.feed)}")

    def arc(self, move: ArcMove) -> None:
        first, second, normal = AXES_OF_PLANE[move.plane]
        start, end = self._known(), self._steps(move.to)
        if all(start[i] == end[i] for i in (first, second)):
            self.line(LineMove(move.to, move.feed))
            return
        centre = [numbers.units_of(c, self.units) for c in move.centre]
        skip = () if start[normal] != end[normal] else (normal,)
        words = f"{'G2' if move.clockwise else 'G3'} {self._words(end, skip)} "
        names = ["IJK"[first], "IJK"[second]]
        offset = [centre[0] - start[first], centre[1] - start[second]]
        pairs = sorted(zip(names, offset, strict=True))
        words += " ".join(f"{n}{numbers.text_of(o, self.units)}" for n, o in pairs)
        short = len(words.replace(" ", "")) <= self.controller.line_length
        if not short or not self._true(start, end, centre, (first, second)):
            for chord in linearize.chords(self._place(start), move):
                self.line(chord)
            return
        self._plane(move.plane)
        self.at = list(end)
        self.lines.append(f"{words}{self._feed(move.feed)}")
        self.cut_length += linearize.plane_arc(self._place(start), move).length

    def note(self, move: Note) -> None:
        self.say(move.text)
        if isinstance(move, Stop):
            self.lines.append("M0")

    def _change(self, operation: Operation, program: Program, *, first: bool) -> None:
        """The next tool, fetched or fitted where tools are changed, and the way up after it."""
        tool, change = operation.tool, self.controller.tool_change
        self._up(program.clearance, blind=first)
        if not first:
            self._plane("G17")
            self.lines += ["M5", "M9"]
        if change is ToolChange.AUTOMATIC or not first:
            self._across(self.places.change)
        if change is ToolChange.AUTOMATIC:
            self.lines.append(f"T{tool.number} M6")
        else:
            self.lines.append(f"T{tool.number}")
            if not first:
                for n, step in enumerate(_steps(tool, program, self.controller), start=1):
                    self.say(f"change {n}: {step}")
                self.say("then resume")
                self.lines.append("M0")
        if self.controller.length_offsets and change is not ToolChange.STOP:
            self.lines.append(f"G43 H{tool.number}")
        self.feed = ""
        if change is ToolChange.AUTOMATIC or not first:
            # A hand or a changer has moved the machine
            self.at = [None, None, None]
            self._up(program.clearance)
        elif not self.controller.machine_coordinates:
            self._height(program.clearance)

    def _up(self, clearance: float, *, blind: bool = False) -> None:
        """Straight up to where the tool is over everything.

        ``blind``: before any tool is known, so that no height in the program's zero has a meaning.
        """
        if self.controller.machine_coordinates:
            self.lines.append(f"G53 G0 Z{self._machine(self.places.height)}")
            self.at[2] = None
        elif not blind:
            self._height(clearance)

    def _across(self, spot: PlanPosition | None) -> None:
        """Over a place of the machine's own, at its safe height."""
        if spot is not None and self.controller.machine_coordinates:
            self.lines.append(f"G53 G0 X{self._machine(spot.x)} Y{self._machine(spot.y)}")
            self.at = [None, None, None]

    def _machine(self, value: float) -> str:
        return numbers.text_of(numbers.units_of(value, self.units), self.units)

    def _come_down(self, operation: Operation, clearance: float) -> None:
        """Across to where an operation begins, then down to the clearance plane."""
        begins = next((m.to for m in operation.moves if not isinstance(m, Note)), None)
        if begins is not None and not any(math.isnan(v) for v in begins[:2]):
            self.rapid(Rapid((begins[0], begins[1], math.nan)))
        self._height(clearance)

    def _height(self, z: float) -> None:
        steps = numbers.units_of(z, self.units)
        if self.at[2] != steps:
            self.lines.append(f"G0 Z{numbers.text_of(steps, self.units)}")
            self.at[2] = steps

    def _plane(self, plane: str) -> None:
        if plane != self.plane:
            self.lines.append(plane)
            self.plane = plane

    def _feed(self, feed: float) -> str:
        text = numbers.rate_text(feed, self.units)
        if text == self.feed:
            return ""
        self.feed = text
        return f" F{text}"

    def _steps(self, to: tuple[float, float, float]) -> list[int]:
        """The place in steps; an axis not known stays where it is."""
        return [
            (self.at[i] or 0) if math.isnan(v) else numbers.units_of(v, self.units)
            for i, v in enumerate(to)
        ]

    def _place(self, steps: list[int]) -> Place:
        x, y, z = (numbers.mm_of(s, self.units) for s in steps)
        return (x, y, z)

    def _known(self) -> list[int]:
        return [s or 0 for s in self.at]

    def _axes(self, steps: list[int], unknown: tuple[int, ...] = ()) -> str:
        """The axes that change, as words; the tool stands there then.

        Those that are not known, and that the move leaves as they are, stay unknown.
        """
        still = (*unknown, *(i for i in range(3) if self.at[i] == steps[i]))
        words = self._words(steps, still)
        self.at = [None if i in unknown else step for i, step in enumerate(steps)]
        return words

    def _words(self, steps: list[int], skip: tuple[int, ...]) -> str:
        return " ".join(
            f"{name}{numbers.text_of(step, self.units)}"
            for i, (name, step) in enumerate(zip("XYZ", steps, strict=True))
            if i not in skip
        )

    def _true(
        self, start: list[int], end: list[int], centre: list[int], axes: tuple[int, int]
    ) -> bool:
        """Whether the printed arc keeps its two radii within what RS274/NGC allows."""
        radii = [math.dist([p[i] for i in axes], centre) for p in (start, end)]
        step = numbers.mm_of(1, self.units)
        return abs(radii[0] - radii[1]) * step <= numbers.ARC_TOLERANCE / 2

    def _measure(self, steps: list[int]) -> None:
        if None not in self.at:
            self.cut_length += math.dist(self._known(), steps) * numbers.mm_of(1, self.units)
