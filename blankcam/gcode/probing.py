"""A probing program for a set-up: a touch probe finds all three zeros by itself.

RS274/NGC in the subset that plain streaming controllers also take: G38.2 in steps from where the
probe stands, then G10 L20 P1 (NISTIR 6556 has G38.2; L20 is common to controllers, not in it). It
sets zeros and cuts nothing; ``replay.probing`` judges it before it is written.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from blankcam.data import table
from blankcam.gcode import numbers
from blankcam.gcode.changes import in_units_of
from blankcam.gcode.comments import comment
from blankcam.gcode.header import (
    ENDING,
    signed,
    surface_words,
    touch_words,
    unsigned,
    zeroing_tool,
)
from blankcam.inputs.machine import Probe, Profile
from blankcam.parts.frames import Place, Setup, Zero
from blankcam.safety import notice
from blankcam.toolpath.moves import Program

LIFT: float = table("cutting")["touch"]["over"]
"""mm that the tip keeps over that surface while it finds the sides."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ProbingFile:
    """A set-up's probing program."""

    name: str
    setup: Setup
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Start:
    """Where the probe is jogged to before the program is started, mm: places and how far off."""

    over: float
    """Over the surface that Z is touched on."""
    before: float
    """In front of the side that Y is touched on."""
    beside: float
    """To the right of the left end."""
    off: float
    """By so much each of them may be missed."""

    def place(self, zeros: Iterable[Zero]) -> Place:
        """The same in the frame that the zeros give."""
        at = {z.axis: z.value for z in zeros}
        return at["X"] + self.beside, at["Y"] - self.before, at["Z"] + self.over


def start() -> Start:
    """Where every set-up's probing program is started."""
    row = table("cutting")["probe"]
    return Start(**{key: row[key] for key in ("over", "before", "beside", "off")})


def file(stem: str, program: Program, profile: Profile, probe: Probe, begin: Start) -> ProbingFile:
    """The probing program of a program's set-up, with its notice and what to do before it."""
    name = f"{stem}-probe{ENDING}"
    words = (f"file: {name}", *_head(program, profile, probe, begin), unsigned())
    control = profile.controller
    head = [
        line
        for said in (*notice(program.material, str(profile.kind)), *words)
        for line in comment(control, in_units_of(control, said))
    ]
    text = "\n".join([*head, *_lines(program, profile, probe, begin)]) + "\n"
    return ProbingFile(name=name, setup=Setup(program.setup), text=signed(text))


def _head(program: Program, profile: Profile, probe: Probe, begin: Start) -> Iterator[str]:
    zeros = {z.axis: z for z in program.zeros}
    stage = f", stage {program.stage}" if program.stage else ""
    yield f"probes: the zeros of {program.part}, on {program.setup}{stage}"
    yield (
        f"Fit the probe, {probe.diameter:.2f} mm across, and see that it answers. Jog its tip to "
        f"about {begin.over:g} mm over {surface_words(zeros['Z'].surface)}, {begin.before:g} mm in "
        f"front of {surface_words(zeros['Y'].surface)} and {begin.beside:g} mm to the right of "
        f"{surface_words(zeros['X'].surface)}, each within {begin.off:g} mm. Then start this file. "
        f"It sets X, Y and Z and cuts nothing. {_z_again(program, profile)}"
    )


def _z_again(program: Program, profile: Profile) -> str:
    """Why Z is not a tool's yet, and how it becomes so: no length counts while a probe touches."""
    touch = touch_words(program.zeros)
    if not profile.controller.length_offsets:
        return f"Z is then right for the probe alone: for each tool, {touch}."
    number = zeroing_tool(program)
    return (
        f"Z is then right for the probe alone: with T{number} fitted and its length in force, "
        f"{touch}."
    )


def _lines(program: Program, profile: Profile, probe: Probe, begin: Start) -> Iterator[str]:
    units = profile.controller.units
    zeros = {z.axis: z for z in program.zeros}
    far, clear = begin.over + 2 * begin.off, program.clearance + 2.0

    def word(letter: str, mm: float) -> str:
        return f"{letter}{numbers.text_of(numbers.units_of(mm, units), units)}"

    def touched(axis: str, travel: float, value: float, back: float) -> Iterator[str]:
        feed = numbers.rate_text(probe.feed, units)
        yield "G91"
        yield f"G38.2 {word(axis, travel)} F{feed}"
        yield f"G10 L20 P1 {word(axis, value)}"
        yield f"G0 {word(axis, back)}"

    yield from (f"{'G21' if units == 'mm' else 'G20'} G17 G90 G94 G40", "G49", "G54", "M5", "M9")
    yield from touched("Z", -far, zeros["Z"].value, LIFT)
    yield from touched("Y", begin.before + 2 * begin.off, _side(zeros["Y"], probe), -2.0)
    yield "G90"
    yield f"G0 {word('Z', clear)}"
    yield "G91"
    beyond = begin.beside + 2 * begin.off + probe.diameter
    yield f"G0 {word('X', -beyond)}"
    yield "G90"
    yield f"G0 {word('Y', (program.stock.y0 + program.stock.y1) / 2)}"
    yield f"G0 {word('Z', zeros['Z'].value + LIFT)}"
    yield from touched("X", beyond, _side(zeros["X"], probe), -2.0)
    yield "G90"
    yield f"G0 {word('Z', clear)}"
    yield "M30"


def _side(zero: Zero, probe: Probe) -> float:
    return zero.beside(probe.diameter)
