"""A program's header: the only place that writes it, and reads it back."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

from blankcam import digest
from blankcam.inputs.machine import Profile
from blankcam.inputs.tool import Shape, Tool
from blankcam.machining.promise import promise
from blankcam.parts.frames import Place, ReferenceSurface, Zero
from blankcam.parts.stage import Stage
from blankcam.safety import notice
from blankcam.toolpath.moves import Program

ENDING = ".ngc"
LONGEST_NAME = 100
"""Characters of the job's name."""
_LINES = 400
"""So many lines of a program are looked through for its header."""
_PLACEHOLDER = "0" * digest.LENGTH
_COMMENTS = ("(", ";")

_STEM = r"((?:nut-(?:edge|face|refit)|saddle-(?:edge|face|refit|bottom))(?:-\d{1,2}|-air)?)"
_FILE = re.compile(rf"\bfile[:=]? {_STEM}\.ngc")
_NAME = re.compile(rf"{_STEM}\.ngc")
_STAGE = re.compile(r"makes[:=]? (?:nut|saddle), on (?:edge|face), stage (rough|final)")
_READINGS = re.compile(r"readings digest ([0-9a-f]{16})")
_PLACE = re.compile(
    r"\bplace (\d{1,4}) at X(-?\d{1,6}\.\d{3}) Y(-?\d{1,6}\.\d{3}) Z(-?\d{1,6}\.\d{3})"
    r".{1,300}?, job digest ([0-9a-f]{16})\b"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Header:
    """What a program's header says, read back; None or empty where it says nothing of it."""

    stem: str | None
    """Name of the program's file without its ending."""
    stage: Stage | None
    readings_digest: str
    places: dict[str, Place]
    """Where each blank's zero stands in a fixture, mm, by the digest of its job."""
    every_place: tuple[tuple[int, str, Place], ...]
    """Number, digest of the job and zero of every place: equal jobs have the same digest."""


def read_header(data: bytes) -> Header:
    """The header of a program's file; anything at all may stand in it."""
    lines = data.decode("ascii", "replace").split("\n")[:_LINES]
    bare = (line.strip() for line in lines)
    head = " ".join(line.strip("();") for line in bare if line.startswith(_COMMENTS))
    stem, stage, readings = _FILE.search(head), _STAGE.search(head), _READINGS.search(head)
    places = tuple(
        (int(m[1]), m[5], (float(m[2]), float(m[3]), float(m[4]))) for m in _PLACE.finditer(head)
    )
    return Header(
        stem=stem[1] if stem else None,
        stage=Stage(stage[1]) if stage else None,
        readings_digest=readings[1] if readings else "",
        places={job: zero for _, job, zero in places},
        every_place=places,
    )


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
            "air: run it before the first cut. The spindle stays off and nothing is touched. At each "
            "stop look where the tip stands, then resume. Where it stands anywhere else, cut nothing "
            "and set the zeros again"
        )
    yield f"file: {program.stem}{ENDING}"
    yield f"job: {job_name[:LONGEST_NAME]}"
    yield f"machine: {profile.name}"
    yield f"material: {program.material}"
    yield (
        f"stock: x {stock.x0:.2f} mm to {stock.x1:.2f} mm, y {stock.y0:.2f} mm to "
        f"{stock.y1:.2f} mm, z {stock.z0:.2f} mm to {stock.z1:.2f} mm"
    )
    yield f"zero: {zero_words(program.zeros)}"
    yield from program.places
    yield _holding_words(program)
    for tool in program.tools:
        yield tool_words(tool)
    yield from _known_words(program, profile)
    yield f"time: about {seconds / 60:.1f} min, an estimate"
    yield f"moves digest {_PLACEHOLDER}"
    yield f"job digest {job_digest}"
    if program.readings:
        yield f"readings digest {program.readings}"


def _known_words(program: Program, profile: Profile) -> Iterator[str]:
    """What the program makes up for, and how good its cuts can be; nothing where nothing is known."""
    if not profile.known:
        return
    good = promise(profile, program.tools, program.stock)
    by = f"measured {profile.measured}" if profile.measured else "stated in its profile"
    yield (
        f"true: the machine as {by}, its errors made up for. Slots are good to "
        f"{good.width:.3f} mm in width, {good.height:.3f} mm in height and {good.place:.3f} mm in "
        "place. Come to X and Y zero on the way up, to Z zero on the way down"
    )


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


_SURFACES = {
    ReferenceSurface.CUT_LEFT_END: "the left end that the outline on face has cut",
    ReferenceSurface.LEFT_END: "its left end",
    ReferenceSurface.FINGERBOARD_SIDE: "its fingerboard side",
    ReferenceSurface.TAIL_SIDE: "its tail side",
    ReferenceSurface.NUT_SIDE: "its nut side",
    ReferenceSurface.SEAT_SIDE: "its seat side",
    ReferenceSurface.UPPER_FACE: "its upper face",
    ReferenceSurface.STOP: "the stop at the left ends of the blanks",
    ReferenceSurface.FIRST_SEEN_SIDE: "the side seen from the bridge of the blank in place 1",
    ReferenceSurface.FIRST_SEAT_SIDE: "the seat side of the blank in place 1",
    ReferenceSurface.FLOOR: "the floor under their seat sides",
    ReferenceSurface.WASTE_BOARD: "the top of the waste board",
    ReferenceSurface.PIECE_LEFT_END: "its left end",
    ReferenceSurface.PIECE_FRONT: "its front edge",
}


def _millimetres(value: float, decimals: int) -> str:
    return f"{value:.{decimals}f} mm"


def zero_words(zeros: Iterable[Zero], length: Callable[[float, int], str] = _millimetres) -> str:
    """Where the work zero is; ``length`` writes mm with so many decimals."""
    each = {z.surface: _zero_words(z, length) for z in zeros}
    words = ", ".join(each.values())
    if ReferenceSurface.UNDERSIDE in each:
        return f"crown down, left end still on the left; {words}"
    lying = ReferenceSurface.UPPER_FACE in each
    return f"{words}, the side seen from the bridge up" if lying else words


def touch_words(zeros: Iterable[Zero], length: Callable[[float, int], str] = _millimetres) -> str:
    """What to touch off on with a tool's tip, and which number to set Z to; empty without a Z."""
    zero = next((z for z in zeros if z.axis == "Z"), None)
    if zero is None:
        return ""
    surface = _SURFACES.get(zero.surface, str(zero.surface)).replace("its ", "the ", 1)
    return f"touch off on {surface} and set Z to {length(zero.value, 2)}"


def _zero_words(zero: Zero, length: Callable[[float, int], str]) -> str:
    if zero.surface is ReferenceSurface.BLANK_LEFT_END:
        return f"{zero.axis}0 {length(-zero.value, 2)} from the blank's left end"
    if zero.surface is ReferenceSurface.PIECE_TOP:
        high = length(zero.value, 3)
        return f"touch each tool off on its top at the mark and set {zero.axis} to {high} there"
    if zero.surface is ReferenceSurface.UNDERSIDE:
        return f"{zero.axis}{zero.value:.3f} its underside, levelled"
    if zero.surface is ReferenceSurface.UPPER_FACE and zero.value > 0:
        off = length(zero.value, 3)
        return (
            f"{zero.axis}0 {off} under its upper face - touch off where its thickness was measured "
            f"and set {zero.axis} to {off} there"
        )
    return f"{zero.axis}0 {_SURFACES[zero.surface]}"


def _holding_words(program: Program) -> str:
    held = program.holding
    if any(z.surface is ReferenceSurface.PIECE_TOP for z in program.zeros):
        return f"hold: {held.kind}, jaws at most {held.jaws:g} mm over what it stands on"
    if program.setup == "edge":
        return f"hold: {held.kind}, jaws up to {held.jaws:g} mm over the seat side"
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
