"""The test piece drawn from above and from the front, every land with its name."""

from __future__ import annotations

from collections.abc import Iterator

from blankcam.calibration.piece import SIZES, Coupon, Land, Trough
from blankcam.outputs.drawing import Box, Drawing, Path, Words, joined, scaled, stroke
from blankcam.outputs.drawings.dimension import across, up
from blankcam.outputs.render import svg
from blankcam.outputs.typeface import width

PAGE = (297.0, 150.0)
LARGEST = 2.5
SMALL, NAME = 1.6, 2.4
EDGE = 22.0


def picture(piece: Coupon) -> bytes:
    """Both views as SVG, as large as the page has room."""
    by = min(LARGEST, (PAGE[0] - 2 * EDGE) / piece.length)
    above = _named(piece, scaled(_from_above(piece), by), by)
    front = scaled(_from_front(piece), by).moved(0.0, -(piece.height * by) - 26.0)
    front = joined((front, _heights(piece, by)))
    left, low, right, high = joined((above, front)).extent()
    page = joined((above, front)).moved((PAGE[0] - right - left) / 2, EDGE / 2 - low)
    size = (PAGE[0], high - low + EDGE)
    return svg.render(page, size, f"test piece, {by:.2g} times its size")


def _box(box: Box, holds: str = "outline") -> Path:
    x0, y0, x1, y1 = box
    return stroke((x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0), holds=holds)


def _trough_box(piece: Coupon, trough: Trough) -> Box:
    low, high = max(trough.low, 0.0), trough.high
    if trough.axis == "x":
        return low, 0.0, high, piece.inner
    return piece.length - piece.comb, low, piece.length, min(high, piece.thickness)


def _from_above(piece: Coupon) -> Drawing:
    paths = [_box((0.0, 0.0, piece.length, piece.thickness))]
    paths += [_box(_trough_box(piece, t), "slots") for t in piece.troughs]
    long = float(SIZES["step_long"])
    paths += [stroke((s.land.low, long), (s.land.high, long), holds="slots") for s in piece.steps]
    x, y = piece.mark
    paths += [
        stroke((x - 1.5, y - 1.5), (x + 1.5, y + 1.5), holds="marks"),
        stroke((x - 1.5, y + 1.5), (x + 1.5, y - 1.5), holds="marks"),
    ]
    return Drawing(paths=tuple(paths))


def _named(piece: Coupon, view: Drawing, by: float) -> Drawing:
    """The view with its names and the long distances."""
    x, y = piece.mark
    words = [*_names(piece, by)]
    words.append(_words((x + 3.0) * by, y * by - SMALL / 2, "mark: touch every tool off here"))
    words.append(_words(0.0, piece.thickness * by + 2.0, "from above, front edge below"))
    a, b, c, d = (piece.land(n) for n in "ABCD")
    long = across(a.low * by, b.high * by, -9.0, 0.0, f"AB {b.high - a.low:.2f}")
    side = piece.length * by
    deep = up(c.low * by, d.high * by, side + 9.0, side, f"CD {d.high - c.low:.2f}")
    return joined((view, long, deep, Drawing(words=tuple(words))))


def _names(piece: Coupon, by: float) -> Iterator[Words]:
    for land in piece.lands:
        middle, size = (land.low + land.high) / 2 * by, min(NAME, land.wide * by / 3)
        text = f"{land.wide:.2f}"
        if land.axis == "x":
            inside = (float(SIZES["step_long"]) + piece.inner) / 2 * by
            yield _words(middle, inside - size / 2, land.name, size, "middle")
            yield _words(middle, -4.2, text, SMALL, "middle")
        else:
            inside = (piece.length - piece.comb / 2) * by
            yield _words(inside, middle - size / 2, f"{land.name} {text}", size, "middle")


def _words(x: float, y: float, text: str, height: float = SMALL, anchor: str = "left") -> Words:
    return Words(at=(x, y), text=text, height=height, anchor=anchor)


def _from_front(piece: Coupon) -> Drawing:
    """The front edge: lands with their steps between the troughs."""
    top, points = piece.height, [(0.0, 0.0)]
    along = [t for t in piece.troughs if t.axis == "x"]
    down = {s.land.name: s.deep for s in piece.steps}
    for trough in along:
        floor, low = top - trough.deep, max(trough.low, 0.0)
        points += [(low, floor), (trough.high, floor)]
        if (land := trough.walls[1]) is not None:
            step = top - down[land.name]
            points += [(land.low, step), (land.high, step)]
    first = next(t for t in piece.troughs if t.axis == "y")
    start, floor = piece.length - piece.comb, top - first.deep
    points += [(along[-1].high, top), (start, top), (start, floor), (piece.length, floor)]
    points += [(piece.length, 0.0), (0.0, 0.0)]
    behind = [stroke((0.0, top), (piece.length, top), holds="slots")]
    behind += [
        stroke((wall, top - down[s.land.name]), (wall, top), holds="slots")
        for s in piece.steps
        for wall in (s.land.low, s.land.high)
    ]
    return Drawing(paths=(stroke(*points, holds="outline"), *behind))


def _heights(piece: Coupon, by: float) -> Drawing:
    """Over each step how high it stands, and how thick the piece is."""
    base = -(piece.height * by) - 26.0
    made = [
        up(base, base + piece.height * by, -7.0, 0.0, f"{piece.height:.2f}"),
        Drawing(words=(_words(0.0, base - 5.0, "from the front; the heights are of the steps"),)),
    ]
    top = base + piece.height * by
    over = (_over(s.land, piece.height - s.deep, top, by) for s in piece.steps)
    return joined((*made, Drawing(words=tuple(over))))


def _over(land: Land, high: float, top: float, by: float) -> Words:
    """How high a step stands, over the line of the top, which nothing crosses then."""
    text, middle = f"{land.name} {high:.2f}", (land.low + land.high) / 2 * by
    size = min(SMALL, SMALL * (land.wide + 4.0) * by / max(width(text, SMALL), 1e-9))
    return _words(middle, top + 1.5, text, size, "middle")
