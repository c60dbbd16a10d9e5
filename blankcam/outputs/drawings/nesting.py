"""Several outlines laid out on one sheet of stock, apart from each other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from blankcam.faults import Fault, RefusedError
from blankcam.outputs.drawing import Drawing, Words, joined
from blankcam.outputs.drawings.cut_offset import Offset, with_offset
from blankcam.outputs.drawings.flat import gauges, part_elevation
from blankcam.parts.part import Part
from blankcam.parts.stage import Stage


@dataclass(frozen=True, slots=True, kw_only=True)
class Stock:
    """A sheet of stock, mm."""

    width: float
    height: float
    spacing: float = 3.0
    """Between two cuts, and from a cut to the sheet's edge."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Reach:
    """A drawing by its reach, the offset of its outlines and its words included."""

    order: int
    drawing: Drawing
    left: float
    low: float
    width: float
    height: float


def outlines(
    parts: Sequence[tuple[str, Part]],
    stage: Stage,
    *,
    way: Offset | None = None,
    templates: bool = False,
) -> tuple[Drawing, ...]:
    """What is to be cut of several parts, a drawing each, ready to be laid out.

    Parameters
    ----------
    parts : a name (written under the outline) and a part each
    templates : the parts' gauges too, and one test square
    """
    made = [_named(name, part, stage) for name, part in parts]
    if templates:
        extra = [gauges(part, way, name) for name, part in parts]
        made += [g for drawn in extra for g in drawn[:-1]]
        made += extra[0][-1:] if extra else ()
    return tuple(made)


def _named(name: str, part: Part, stage: Stage) -> Drawing:
    """A part's elevation with its name under it, where nothing is cut."""
    drawn = part_elevation(part, stage)
    fits = max(3, int(part.length / 1.3))  # letters 1.4 mm high are under 1.3 mm wide
    at = (part.length / 2, drawn.extent()[1] - 1.8)
    words = Words(at=at, text=name[:fits], height=1.4, anchor="middle")
    return replace(drawn, words=(*drawn.words, words))


def laid_out(drawings: Sequence[Drawing], stock: Stock, *, way: Offset | None = None) -> Drawing:
    """All drawings on one sheet in rows, tallest first; each keeps its way up.

    The result is without offsets: ``dxf.write`` adds them, and room is kept for them here.

    Raises
    ------
    RefusedError
        The sheet is too small.
    """
    boxes = sorted(
        (_box(i, d, way) for i, d in enumerate(drawings)), key=lambda b: (-b.height, b.order)
    )
    placed: list[Drawing] = []
    at_x, at_y, row = stock.spacing, stock.spacing, 0.0
    for box in boxes:
        if at_x + box.width + stock.spacing > stock.width and row > 0:
            at_x, at_y, row = stock.spacing, at_y + row + stock.spacing, 0.0
        if (
            at_x + box.width + stock.spacing > stock.width + 1e-9
            or at_y + box.height + stock.spacing > stock.height + 1e-9
        ):
            raise RefusedError(_too_small(box, len(boxes), stock))
        placed.append(box.drawing.moved(at_x - box.left, at_y - box.low))
        at_x += box.width + stock.spacing
        row = max(row, box.height)
    return joined(placed)


def _box(order: int, drawing: Drawing, way: Offset | None) -> _Reach:
    left, low, right, high = with_offset(drawing, way).extent()
    return _Reach(
        order=order, drawing=drawing, left=left, low=low, width=right - left, height=high - low
    )


def _too_small(box: _Reach, count: int, stock: Stock) -> Fault:
    return Fault(
        where="--stock",
        found=f"{stock.width:g} x {stock.height:g} mm",
        wrong=f"too small for {count} outlines {stock.spacing:g} mm apart: no room left for one of "
        f"{box.width:.1f} x {box.height:.1f} mm",
        fix="use a larger sheet, or lay out fewer parts",
    )
