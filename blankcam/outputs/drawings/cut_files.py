"""The DXF files that go to a laser, a router or whoever cuts outlines.

One layer and one colour an action: what is cut, what is marked, what is for the eye.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from blankcam.inputs.layers import LayerRule, default_layers, for_cutting
from blankcam.inputs.machine import MachineKind, Profile
from blankcam.outputs.drawing import Drawing, selected, stacked
from blankcam.outputs.drawings.cut_offset import Offset, offset_for, with_offset
from blankcam.outputs.drawings.flat import gauges, nut_drawing, saddle_drawing
from blankcam.outputs.drawings.gauges import SQUARE
from blankcam.outputs.render import dxf
from blankcam.parts.nut import Nut
from blankcam.parts.part import Part
from blankcam.parts.saddle import Saddle
from blankcam.parts.stage import Stage


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """How a DXF is to be written."""

    layers: tuple[LayerRule, ...] | None = None
    """What is on which layer, in its order of work; data/layers.toml where None."""
    release: str = "R2000"
    """``R2000``, ``R2010`` or ``R12`` (which cannot name its unit)."""
    offset: Offset | None = None
    """A kerf or tool to go beside the outlines; None or zero: the true outlines only."""
    templates: bool = False
    """Gauges and the test square above the part."""
    cut_alone: bool = False
    """Nothing but the lines to be cut: all else only as comments before the header."""


PLAIN = Options()


def options_for(
    profile: Profile,
    *,
    release: str | None = None,
    tool: int | None = None,
) -> Options:
    """How a machine wants its DXF: a laser its kerf, a router its tool beside the outlines.

    ``tool``: number of the router's tool for outlines; its widest flat one where None. A mill or
    the hand gets the true outlines alone, and the plans, which the others' files leave out.
    """
    way = offset_for(profile, tool)
    templates = profile.kind in (MachineKind.LASER, MachineKind.ROUTER)
    layers = profile.drawing.layers
    if layers is None and templates:
        layers = for_cutting(default_layers())
    return Options(
        layers=layers, release=release or profile.drawing.release, offset=way, templates=templates
    )


def write_nut(
    nut: Nut,
    stage: Stage,
    *,
    notice: Sequence[str],
    board: tuple[float, float] | None = None,
    title: Sequence[str] = (),
    options: Options = PLAIN,
) -> bytes:
    """The nut's DXF: elevation from its left end at the origin, plan below, title and notice.

    ``board``: the board's wood over the seat's floor at the middle (the drop) and its radius.
    """
    return _part(nut_drawing(nut, stage, board), nut, notice, title, options)


def write_saddle(
    saddle: Saddle,
    stage: Stage,
    *,
    notice: Sequence[str],
    seat_top: float | None = None,
    title: Sequence[str] = (),
    options: Options = PLAIN,
) -> bytes:
    """The saddle's DXF; ``seat_top``: the bridge's top over the seat's floor (the slot's depth)."""
    return _part(saddle_drawing(saddle, stage, seat_top), saddle, notice, title, options)


def write(
    drawing: Drawing,
    *,
    notice: Sequence[str],
    title: Sequence[str] = (),
    options: Options = PLAIN,
) -> bytes:
    """Any drawing as a DXF file for a laser or router; the same drawing gives the same bytes.

    Parameters
    ----------
    notice : lines put before the header as comments, and beside the drawing
    title : lines written before those that say what to cut

    Raises
    ------
    ValueError
        An outline has a place too narrow for the offset, or no layer is left to draw.
    """
    rules = options.layers if options.layers is not None else default_layers()
    omitted = {rule.holds for rule in rules if rule.work == "omit"}
    drawing = with_offset(selected(drawing, lambda holds: holds not in omitted), options.offset)
    if not drawing.paths:
        raise ValueError("every layer that holds something is left out")
    notes = (*title, *dxf.unit_words(options.release), *_work_words(drawing, rules, options.offset))
    if options.cut_alone:
        cut = {rule.holds for rule in rules if rule.work == "cut"}
        drawing = selected(drawing, lambda holds: holds in cut)
    return dxf.render(
        drawing,
        layers=rules,
        release=options.release,
        notice=notice,
        notes=notes,
        written=not options.cut_alone,
    )


def _part(
    drawn: Drawing,
    part: Part,
    notice: Sequence[str],
    title: Sequence[str],
    options: Options,
) -> bytes:
    if options.templates:
        drawn = stacked((drawn, *gauges(part, options.offset)), 4.0 + 2 * _out(options.offset))
    return write(drawn, notice=notice, title=title, options=options)


def _out(way: Offset | None) -> float:
    return 0.0 if way is None else way.out


ACTIONS = {
    "cut": "cut through, last",
    "mark": "engrave or score, first",
    "show": "for the eye, never for the machine",
}


def _work_words(drawing: Drawing, rules: Sequence[LayerRule], way: Offset | None) -> Iterator[str]:
    """What each layer is for, and how the kerf or tool is accounted for."""
    here = drawing.held() | {"words"}
    for work, what in ACTIONS.items():
        layers = dict.fromkeys(
            f"{r.name} (colour {r.colour})" for r in rules if r.work == work and r.holds in here
        )
        if layers:
            yield f"{', '.join(layers)}: {what}."
    yield from _offset_words(way)
    if "test square" in here:
        yield (
            f"The test square is {SQUARE:.2f} mm wide without offset: "
            f"kerf = {SQUARE:.2f} less the width of the square you get."
        )


def _offset_words(way: Offset | None) -> Iterator[str]:
    if way is None or way.width == 0:
        yield "True size, no kerf or tool allowed for."
        return
    what = "kerf" if way.kind == "kerf" else "tool diameter"
    yield (
        f"What is cut is moved out by {way.out:.3f} mm, half a {what} of {way.width:.3f} mm; the "
        "true outline beside it is for the eye."
    )
    yield "Applied once, here: cut with the machine's own setting for it at zero. Never both."
