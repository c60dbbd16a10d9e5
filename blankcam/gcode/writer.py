"""G-code from a program: RS274/NGC (NISTIR 6556) in the subset plain controllers also take.

A machine profile opens more: tool changes by M6, G43, G64, coolant, inches, ``%``, line numbers,
comments after ``;``. Nothing else is ever written.
"""

from __future__ import annotations

import math
import re
import textwrap
from collections.abc import Iterator
from dataclasses import dataclass, field

from blankcam import digest
from blankcam.gcode import numbers
from blankcam.inputs.machine import Controller, Profile, ToolChange
from blankcam.inputs.tool import Shape, Tool
from blankcam.safety import notice
from blankcam.toolpath import linearize
from blankcam.toolpath.moves import (
    AXES_OF_PLANE,
    Arc,
    Line,
    Note,
    Operation,
    Place,
    Program,
    Rapid,
    walk,
)
from blankcam.toolpath.timing import estimate

ENDING = ".ngc"
BLEND = 0.002
"""mm that G64 may cut a corner."""
_UNWANTED = re.compile(r"[^A-Za-z0-9 .,\-+=/_]+")
_ACTING = re.compile(r"^\s*(MSG|DEBUG|PRINT|LOG|PROBE)", re.IGNORECASE)
_PLACEHOLDER = "0" * digest.LENGTH


@dataclass(frozen=True, slots=True, kw_only=True)
class Written:
    """A program's text and what a report says of it."""

    file: str
    text: str
    lines: int
    cut_length: float
    """mm at feed."""
    seconds: float
    """Estimate."""
    cutting_seconds: float
    air_seconds: float
    bound_seconds: float
    """Cutting at least: the waste at the best rate allowed, and the finishing passes."""


def write(program: Program, profile: Profile, job_name: str, job_digest: str) -> Written:
    """The text of a program for a machine.

    Parameters
    ----------
    job_name
        Hostile text: goes into a comment after sanitising.
    job_digest
        As the job carries it.
    """
    times = estimate(program, profile)
    seconds = times.total
    body = _Body(profile.controller, profile.spin_up)
    body.begin()
    for i, operation in enumerate(program.operations):
        body.operation(operation, program, program.operations[i - 1] if i else None)
    body.end(program)
    head = list(_head(program, profile, job_name, job_digest, seconds))
    text = _text(profile.controller, head, body.lines)
    signed = text.replace(f"moves digest {_PLACEHOLDER}", f"moves digest {digest.of_moves(text)}")
    return Written(
        file=program.stem + ENDING,
        text=signed,
        lines=signed.count("\n"),
        cut_length=body.cut_length,
        seconds=seconds,
        cutting_seconds=times.cutting,
        air_seconds=times.air,
        bound_seconds=sum(o.least for o in program.operations),
    )


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


def tool_words(tool: Tool) -> str:
    """A tool in one line."""
    words = f"tool {tool.number}: {tool.shape} {tool.diameter:g} mm"
    if tool.shape in (Shape.TAPERED_BALL, Shape.VEE):
        words += f", tip {tool.tip_diameter:g} mm, {tool.angle:g} deg"
    return f"{words}, {tool.flutes} flutes, stick-out {tool.stick_out:g} mm"


def _head(
    program: Program, profile: Profile, job_name: str, job_digest: str, seconds: float
) -> Iterator[str]:
    yield from notice(program.material, str(profile.kind))
    stock = program.stock
    yield f"makes: {program.part}, on {program.setup}, stage {program.stage}"
    yield f"file: {program.stem}{ENDING}"
    yield f"job: {job_name[:100]}"
    yield f"machine: {profile.name}"
    yield f"material: {program.material}"
    yield (
        f"stock: x {stock.x_min:.2f} to {stock.x_max:.2f}, y {stock.y_min:.2f} to "
        f"{stock.y_max:.2f}, z {stock.z_min:.2f} to {stock.z_max:.2f} mm"
    )
    yield f"zero: {program.zero}"
    yield from program.places
    yield _holding_words(program)
    for tool in program.tools:
        yield tool_words(tool)
    yield f"time: about {seconds / 60:.1f} min, an estimate"
    yield f"moves digest {_PLACEHOLDER}"
    yield f"job digest {job_digest}"
    if program.readings:
        yield f"readings digest {program.readings}"


def _holding_words(program: Program) -> str:
    held = program.holding
    if program.setup == "edge":
        return f"hold: {held.kind}, jaws up to {held.jaw_top:g} mm over the seat side"
    if held.on_face == "clamps":
        return (
            f"hold: on a waste board, a clamp at each end, reaching {held.clamp_reach:g} mm over "
            f"it and {held.clamp_height:g} mm high"
        )
    if held.on_face == "fixture":
        return f"hold: between the walls of a fixture, {held.face_top:g} mm over its floor"
    if held.on_face == "tape":
        return "hold: on a waste board by tape"
    return "hold: on a waste board, glued or taped and glued, no clamp over or beside it"


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
    lines: list[str] = field(default_factory=list)
    at: list[int | None] = field(default_factory=lambda: [None, None, None])
    plane: str = "G17"
    feed: str = ""
    cut_length: float = 0.0

    @property
    def units(self) -> str:
        return self.controller.units

    def begin(self) -> None:
        self.lines.append(f"{'G21' if self.units == 'mm' else 'G20'} G17 G90 G94 G40")
        self.lines += ["G49", "G54"]
        if self.controller.path_blending:
            blend = numbers.text_of(numbers.units_of(BLEND, self.units), self.units)
            self.lines.append(f"G64 P{blend}")

    def operation(self, operation: Operation, program: Program, before: Operation | None) -> None:
        changed = before is None or before.tool.number != operation.tool.number
        if changed:
            self._change(operation, first=before is None)
        self.say(f"{operation.name}: {operation.words}, {tool_words(operation.tool)}")
        if changed or before is None or before.cut.rpm != operation.cut.rpm:
            self.lines.append(f"S{int(operation.cut.rpm)} M3")
        if changed and self.spin_up > 0:
            self.lines.append(f"G4 P{self.spin_up:.1f}")
        if changed:
            if self.controller.coolant != "none":
                self.lines.append("M7" if self.controller.coolant == "mist" else "M8")
            self._height(program.clearance)
        walk(operation.moves, self)

    def end(self, program: Program) -> None:
        self._height(program.clearance)
        self._plane("G17")
        self.lines += ["M5", "M9", "M30"]

    def say(self, text: str) -> None:
        self.lines.extend(comment(self.controller, text))

    def rapid(self, move: Rapid) -> None:
        words = self._axes(self._steps(move.to))
        if words:
            self.lines.append(f"G0 {words}")

    def line(self, move: Line) -> None:
        steps = self._steps(move.to)
        self._measure(steps)
        words = self._axes(steps)
        if words:
            self.lines.append(f"G1 {words}{self._feed(move.feed)}")

    def arc(self, move: Arc) -> None:
        first, second, normal = AXES_OF_PLANE[move.plane]
        start, end = self._known(), self._steps(move.to)
        if all(start[i] == end[i] for i in (first, second)):
            self.line(Line(move.to, move.feed))
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

    def _change(self, operation: Operation, *, first: bool) -> None:
        tool, change = operation.tool, self.controller.tool_change
        if not first:
            self._plane("G17")
            self.lines += ["M5", "M9"]
        if change is ToolChange.AUTOMATIC:
            self.lines.append(f"T{tool.number} M6")
        else:
            self.lines.append(f"T{tool.number}")
            if not first:
                self.say(f"fit {tool_words(tool)}, then set the Z zero again")
                self.lines.append("M0")
        if self.controller.length_offsets and change is not ToolChange.STOP:
            self.lines.append(f"G43 H{tool.number}")
        self.at = [None, None, None]
        self.feed = ""

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

    def _axes(self, steps: list[int]) -> str:
        """The axes that change, as words; the tool stands there then."""
        words = self._words(steps, tuple(i for i in range(3) if self.at[i] == steps[i]))
        self.at = list(steps)
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
