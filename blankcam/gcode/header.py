"""A program's header: the only place that writes it, and reads it back."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

from blankcam import digest
from blankcam.gcode.numbers import MM_PER_UNIT, PLACES
from blankcam.inputs.machine import Holding, Profile
from blankcam.inputs.tool import Shape, Tool
from blankcam.machining.promise import promise
from blankcam.parts.frames import Place, ReferenceSurface, Zero
from blankcam.parts.stage import Stage
from blankcam.safety import notice
from blankcam.toolpath.moves import Operation, Program, StandingBlank

ENDING = ".ngc"
LONGEST_NAME = 100
"""Characters of the job's name."""
Length = Callable[[float, int], str]
"""Writes millimetres with so many decimals."""
_LINES = 400
"""So many lines of a program are looked through for its header."""
_PLACEHOLDER = "0" * digest.LENGTH
_COMMENTS = ("(", ";")

_STEM = r"((?:nut-(?:edge|face|refit)|saddle-(?:edge|face|refit|bottom))(?:-\d{1,2}|-air|-probe)?)"
_FILE = re.compile(rf"\bfile[:=]? (?:load-\d{{1,4}}-)?{_STEM}\.ngc")
_NAME = re.compile(rf"{_STEM}\.ngc")
_STAGE = re.compile(
    r"(?:makes|probes)[:=]? (?:the zeros of )?(?:nut|saddle), on (?:edge|face), stage (rough|final)"
)
_READINGS = re.compile(r"readings digest ([0-9a-f]{16})")
_PLACE = re.compile(
    r"\bplace (\d{1,4}) at X(-?\d{1,6}\.\d{3,5})( in)? Y(-?\d{1,6}\.\d{3,5})(?: in)?"
    r" Z(-?\d{1,6}\.\d{3,5})(?: in)?"
    r":? ?(.{1,300}?), job digest ([0-9a-f]{16})\b"
)
_MM = {"mm": MM_PER_UNIT["mm"], "in": MM_PER_UNIT["inch"]}
_PITCH = re.compile(r"\bpitch (\d{1,6}(?:\.\d{1,8})?) (mm|in)\b")


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedPlace:
    """Where one blank stands in a fixture."""

    number: int
    name: str
    """Hostile text."""
    job_digest: str
    zero: Place
    """Of the blank in the program's axes, mm."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Header:
    """What a program's header says, read back; None or empty where it says nothing of it."""

    stem: str | None
    """Name of the program's file without its ending."""
    stage: Stage | None
    readings_digest: str
    places: dict[str, Place]
    """Where each blank's zero stands in a fixture, mm, by the digest of its job."""
    every_place: tuple[StatedPlace, ...]
    """Every place of a fixture: equal jobs have the same digest."""
    pitch: float | None
    """From one place of a fixture to the next, mm."""


def read_header(data: bytes) -> Header:
    """The header of a program's file; anything at all may stand in it."""
    lines = data.decode("ascii", "replace").split("\n")[:_LINES]
    bare = (line.strip() for line in lines)
    head = " ".join(line.strip("();") for line in bare if line.startswith(_COMMENTS))
    stem, stage, readings = _FILE.search(head), _STAGE.search(head), _READINGS.search(head)
    places = tuple(_stated_place(found) for found in _PLACE.finditer(head))
    pitch = _PITCH.search(head)
    return Header(
        stem=stem[1] if stem else None,
        stage=Stage(stage[1]) if stage else None,
        readings_digest=readings[1] if readings else "",
        places={p.job_digest: p.zero for p in places},
        every_place=places,
        pitch=_printed(pitch[1], pitch[2]) if pitch else None,
    )


def _stated_place(found: re.Match[str]) -> StatedPlace:
    number, x, unit, y, z, name, job = found.groups()
    zero = (_printed(x, unit), _printed(y, unit), _printed(z, unit))
    return StatedPlace(number=int(number), name=name, job_digest=job, zero=zero)


def _printed(number: str, unit: str | None) -> float:
    """What was printed, mm: places and pitch are no finer than a thousandth."""
    return round(float(number) * _MM[(unit or "mm").strip()], 3)


def stem_in_name(name: str) -> str | None:
    """Which program a file's name says it is; None where it says nothing."""
    found = _NAME.search(name)
    return found[1] if found else None


def header_lines(
    program: Program, profile: Profile, job_name: str, job_digest: str, seconds: float
) -> Iterator[str]:
    """What a program's header says, a comment each, its own digest still open.

    Parameters
    ----------
    job_name : hostile text
    seconds : how long the program takes, an estimate
    """
    yield from notice(program.material, str(profile.kind))
    stock = program.stock
    made = f"{program.part}, on {program.setup}, stage {program.stage}"
    yield f"makes: {made if program.stage else program.part}"
    if program.air:
        yield (
            "air: run it before the first cut. The spindle stays off and nothing is touched. At "
            "each stop look where the tip stands, then resume. Where it stands anywhere else, cut "
            "nothing and set the zeros again"
        )
    yield f"file: {program.stem}{ENDING}"
    yield f"job: {job_name[:LONGEST_NAME]}"
    yield f"machine: {profile.name}"
    yield f"material: {program.material}"
    yield (
        f"stock: x {stock.x0:.2f} mm to {stock.x1:.2f} mm, y {stock.y0:.2f} mm to "
        f"{stock.y1:.2f} mm, z {stock.z0:.2f} mm to {stock.z1:.2f} mm"
    )
    first, *more = zero_sentences(program.zeros)
    yield f"zero: {first}"
    yield from more
    units = profile.controller.units
    yield from (_place_words(blank, units) for blank in program.places)
    yield _holding_words(program)
    for tool in program.tools:
        yield tool_words(tool)
    yield from _known_words(program, profile)
    yield f"time: about {seconds / 60:.1f} min, an estimate"
    yield unsigned()
    yield f"job digest {job_digest}"
    if program.readings:
        yield f"readings digest {program.readings}"


def _place_words(blank: StandingBlank, units: str) -> str:
    """Where one of several blanks stands: bare millimetres, or inches."""
    unit, places = (" in", PLACES[units]) if units == "inch" else ("", 3)
    x, y, z = (f"{v / MM_PER_UNIT[units] + 0.0:.{places}f}{unit}" for v in blank.at)
    return f"place {blank.number} at X{x} Y{y} Z{z}: {blank.job}, job digest {blank.job_digest}"


def _known_words(program: Program, profile: Profile) -> Iterator[str]:
    """What the program makes up for, and how good its cuts can be; nothing where
    nothing is known.
    """
    if not profile.known:
        return
    good = promise(profile, program.tools, program.stock)
    by = f"measured {profile.measured}" if profile.measured else "stated in its profile"
    yield (
        f"true: the machine as {by}, its errors made up for. Slots are good to "
        f"{good.width:.3f} mm in width, {good.height:.3f} mm in height and {good.place:.3f} mm in "
        "place. Come to X and Y zero on the way up, to Z zero on the way down"
    )


def unsigned() -> str:
    """The line that ``signed`` writes the digest of a program's moves into."""
    return f"moves digest {_PLACEHOLDER}"


def signed(text: str) -> str:
    """The program's text with the digest of its moves in its header."""
    return text.replace(f"moves digest {_PLACEHOLDER}", f"moves digest {digest.of_program(text)}")


def tool_words(tool: Tool) -> str:
    """A tool in one line."""
    words = f"tool {tool.number}: {tool.shape} {tool.label:g} mm"
    if tool.shape in (Shape.TAPERED_BALL, Shape.VEE):
        words += f", tip {tool.tip_label:g} mm, {tool.angle:g} deg"
    if tool.nominal is not None:
        words += f", cuts {tool.diameter:.3f} mm"
    return f"{words}, {tool.flutes} flutes, stick-out {tool.stick_out:g} mm"


def operation_words(operation: Operation) -> str:
    """What an operation does, in which place of a fixture, with which tool."""
    place = f"place {operation.place}: " if operation.place else ""
    return f"{operation.name}: {place}{operation.words}, {tool_words(operation.tool)}"


_SURFACES = {
    ReferenceSurface.BLANK_LEFT_END: "the left end of the blank",
    ReferenceSurface.CUT_LEFT_END: "the left end as cut",
    ReferenceSurface.LEFT_END: "the left end",
    ReferenceSurface.FINGERBOARD_SIDE: "the fingerboard side",
    ReferenceSurface.TAIL_SIDE: "the tail side",
    ReferenceSurface.NUT_SIDE: "the nut side",
    ReferenceSurface.SEAT_SIDE: "the seat side",
    ReferenceSurface.STOPPED_ENDS: "the left ends of the blanks",
    ReferenceSurface.FIRST_SEEN_SIDE: "the side of the first blank that is seen from the bridge",
    ReferenceSurface.FIRST_SEAT_SIDE: "the seat side of the first blank",
    ReferenceSurface.JAW_TOP: "the jaw top",
    ReferenceSurface.WALL_TOP: "the top of the walls",
    ReferenceSurface.WASTE_BOARD: "the waste board",
    ReferenceSurface.PIECE_LEFT_END: "its left end",
    ReferenceSurface.PIECE_FRONT: "its front edge",
    ReferenceSurface.PIECE_TOP: "its top at the mark",
}


def _millimetres(value: float, decimals: int) -> str:
    return f"{value:.{decimals}f} mm"


def surface_words(surface: ReferenceSurface) -> str:
    """A surface that is touched, in words."""
    return _SURFACES[surface]


def touch_words(zeros: Iterable[Zero], length: Length = _millimetres) -> str:
    """What to touch off on with a tool's tip, and which number to set Z to; empty without a Z."""
    zero = next((z for z in zeros if z.axis == "Z"), None)
    if zero is None:
        return ""
    return f"touch off on {surface_words(zero.surface)} and set Z to {exact(zero.value, length)}"


def zeroing_tool(program: Program) -> int:
    """Number of the tool that a set-up is zeroed with: that which may touch X and Y, else the
    first.
    """
    return next((z.touch.number for z in program.zeros if z.touch), program.tools[0].number)


def zero_words(zeros: Iterable[Zero], length: Length = _millimetres) -> str:
    """What is touched, and which number each axis is set to; ``length`` writes mm so finely."""
    return " ".join(zero_sentences(zeros, length))


def zero_sentences(zeros: Iterable[Zero], length: Length = _millimetres) -> Iterator[str]:
    """The same, a sentence at a time, in the order in which it is done."""
    each = {z.axis: z for z in zeros}
    surfaces = {z.surface for z in each.values()}
    if ReferenceSurface.NUT_SIDE in surfaces:
        yield "The crown is down, the left end still on the left, and the underside is set level."
    if ReferenceSurface.SEAT_SIDE in surfaces:
        yield "The side seen from the bridge faces up."
    if "Z" in each:
        words = touch_words(each.values(), length)
        yield f"{words[0].upper()}{words[1:]}."
        yield from _check_words(each["Z"], length)
    yield from _side_sentences([each[a] for a in "XY" if a in each], length)


def _check_words(zero: Zero, length: Length) -> Iterator[str]:
    if zero.upper_face is not None:
        at = length(zero.upper_face, 3)
        yield (
            f"The upper face is milled: it must now stand at Z {at} where its thickness was "
            f"measured. If glue or tape has lifted it, set Z to {at} there, and write down what "
            f"{surface_words(zero.surface)} then reads."
        )


def _side_sentences(zeros: Iterable[Zero], length: Length) -> Iterator[str]:
    """What X and Y are set to with a side against a surface each."""
    before: Zero | None = None
    for zero in zeros:
        against = surface_words(zero.surface)
        if before is not None and (before.value, before.touch) == (zero.value, zero.touch):
            yield f"Set {zero.axis} likewise against {against}."
            continue
        half = "half the width of an edge finder" if before is None else "half the finder's width"
        less = f"{exact(zero.value, length)} less {half}" if zero.value else f"minus {half}"
        words = f"Set {zero.axis} to {less} against {against}"
        yield f"{words}{_with_cutter(zero, length, first=before is None)}."
        before = zero


def _with_cutter(zero: Zero, length: Length, *, first: bool) -> str:
    if zero.touch is None:
        return ""
    at = length(zero.beside(zero.touch.diameter, zero.touch.paper), 3)
    if not first:
        return f", or to {at} with T{zero.touch.number} likewise"
    paper, tip = exact(zero.touch.paper, length), exact(zero.touch.tip, length)
    return (
        f", or to {at} with the side of T{zero.touch.number}, its tip at Z {tip} and paper of "
        f"{paper} between"
    )


def exact(value: float, length: Length) -> str:
    """A length with two decimals, or three where it has them."""
    return length(value, 2 if math.isclose(value, round(value, 2), abs_tol=1e-6) else 3)


def _holding_words(program: Program) -> str:
    """How the blank is held, and the pitch of a fixture's places."""
    apart = f", pitch {program.pitch:.3f} mm" if program.places else ""
    return f"{_held_words(program)}{apart}"


def _held_words(program: Program) -> str:
    held = program.holding
    if any(z.surface is ReferenceSurface.PIECE_TOP for z in program.zeros):
        return f"hold: {held.kind}, jaws at most {held.jaws:g} mm over what it stands on"
    if any(z.surface is ReferenceSurface.NUT_SIDE for z in program.zeros):
        return f"hold: {_gripped(held)} over where the crown rests"
    if program.setup == "edge":
        return f"hold: {_gripped(held)} over the seat side"
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


def _gripped(held: Holding) -> str:
    return f"{held.kind}, {held.grip} up to {held.jaws:g} mm"
