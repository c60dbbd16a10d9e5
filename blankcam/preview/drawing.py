"""The elevations of both parts, dimensioned, as SVG in the page.

As seen from the bridge looking to the head: x to the right, z up. Every part is drawn 900 user
units long, so that letters come out alike.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from blankcam.outputs.drawing import Drawing, scaled, spread
from blankcam.outputs.render.svg import path_data
from blankcam.preview.html import el, length, number, void, words
from blankcam.preview.model import Elevation, Floats

LONG = 900.0
TEXT = 17.0
"""Height of the letters in user units."""
DIGITS = 2
"""Decimals of a user unit; a part's outline is 900 units long."""
SPREAD = 20.0
"""Ordinates stand at least so far from each other."""


def elevation(view: Elevation, blank: tuple[float, float] | None = None) -> str:
    """One part seen from the bridge, with its ordinates, heights and overall sizes.

    ``blank``: its length and height, mm; where the part does not fit into it, that is marked.
    """
    unit = LONG / view.length
    top = view.rough_height * unit
    body = [
        *_outlines(view, unit),
        *_beyond(view, unit, blank),
        *_grooves(view, unit),
        *_ordinates(view, unit),
        *_heights(view, unit, top),
        *_overall(view, unit),
        *_key(view, top),
    ]
    left, right, above, below = 105.0, 30.0, 128.0, 150.0
    box = f"{-left} {-top - above} {LONG + left + right} {top + above + below}"
    title = f"{view.part.capitalize()} seen from the bridge, looking to the head"
    return el(
        "svg",
        el("title", words(title)),
        *body,
        viewBox=box,
        role="img",
        cls="elevation",
        aria_label=title,
        data_part=view.part,
    )


def line(points: Floats | Sequence[tuple[float, float]], cls: str, *, close: bool = False) -> str:
    """A polyline; points in user units, z up."""
    return void("path", d=polyline(points) + ("Z" if close else ""), cls=cls)


def polyline(points: Floats | Sequence[tuple[float, float]]) -> str:
    """Path data of points in user units, z up: hundredths, each from the point before it."""
    places = np.round(np.asarray(points) * (100, -100)).astype(int)
    (x, y), *steps = np.vstack([places[:1], np.diff(places, axis=0)]).tolist()
    run = " ".join(f"{number(a / 100)} {number(b / 100)}" for a, b in steps)
    return f"M{number(x / 100)} {number(y / 100)}l{run}".replace(" -", "-")


def label(x: float, z: float, inner: str, cls: str = "", *, turned: bool = False) -> str:
    """Text at a place, z up; turned: reading upward."""
    if turned:
        at = f"translate({number(x, 2)} {number(-z, 2)})rotate(-90)"
        return el("text", inner, cls=cls or None, transform=at)
    return el("text", inner, x=number(x, 2), y=number(-z, 2), cls=cls or None)


def _outlines(view: Elevation, unit: float) -> Iterator[str]:
    # the rough outline first, so that the finished one is drawn over it where they meet
    kinds = {"rough": "rough", "outline": "body", "slots": "thin"}
    order = list(kinds)
    for path in sorted(scaled(view.drawing, unit).paths, key=lambda p: order.index(p.holds)):
        yield void("path", d=path_data(path, digits=DIGITS), cls=kinds[path.holds])


def _beyond(view: Elevation, unit: float, blank: tuple[float, float] | None) -> Iterator[str]:
    """The blank's edge, and what of the part lies outside it; nothing where all lies inside."""
    if blank is None or (blank[0] >= view.length and blank[1] >= view.rough_height):
        return
    long, high = blank
    left, right = (view.length - long) / 2, (view.length + long) / 2
    box = [(left, 0.0), (right, 0.0), (right, high), (left, high)]
    short = [
        (f"blank {view.length - long:.2f} mm too short", view.length > long),
        (f"blank {view.rough_height - high:.2f} mm too low", view.rough_height > high),
    ]
    if high < view.rough_height:
        over = [(0.0, high), (view.length, high), (view.length, view.rough_height),
                (0.0, view.rough_height)]  # fmt: skip
        yield line([(a * unit, b * unit) for a, b in over], "missing", close=True)
    if long < view.length:
        for a, b in ((0.0, left), (right, view.length)):
            ends = [(a, 0.0), (b, 0.0), (b, view.rough_height), (a, view.rough_height)]
            yield line([(x * unit, z * unit) for x, z in ends], "missing", close=True)
    yield line([(a * unit, b * unit) for a, b in box], "blank", close=True)
    said = ", ".join(words_ for words_, is_so in short if is_so)
    yield label(LONG / 2, min(high, view.rough_height) * unit * 0.4, words(said), "refused")


def _grooves(view: Elevation, unit: float) -> Iterator[str]:
    shapes = scaled(Drawing(paths=view.slots), unit).paths
    for i, (shape, (name, _)) in enumerate(zip(shapes, view.ordinates, strict=False)):
        drawn = void("path", d=path_data(shape, digits=DIGITS), cls="groove")
        yield el("g", el("title", words(f"Slot {name}")), drawn, cls="spot", data_spot=i)


def _ordinates(view: Elevation, unit: float) -> Iterator[str]:
    order = sorted(range(len(view.ordinates)), key=lambda i: view.ordinates[i][1])
    at = [view.ordinates[i][1] * unit for i in order]
    for i, x, shown in zip(order, at, spread(at, SPREAD), strict=True):
        note, mm = view.ordinates[i]
        yield line([(x, -8), (x, -20), (shown, -45), (shown, -52)], "thin")
        yield label(shown + TEXT * 0.35, -118, length(mm, 2, name="tspan"), "ordinate", turned=True)
        yield label(shown, -140, words(note), "note")
    yield line([(0, -8), (0, -52)], "thin")
    yield label(TEXT * 0.35, -118, length(0.0, 2, name="tspan"), "ordinate", turned=True)


def _heights(view: Elevation, unit: float, top: float) -> Iterator[str]:
    order = sorted(view.heights)
    at = [x * unit for x, _ in order]
    for (x, z), shown in zip(order, spread(at, SPREAD), strict=True):
        yield line([(x * unit, z * unit + 3), (x * unit, top + 12), (shown, top + 32)], "thin")
        yield label(
            shown + TEXT * 0.35, top + 36, length(z, 2, name="tspan"), "ordinate", turned=True
        )


def _overall(view: Elevation, unit: float) -> Iterator[str]:
    peak, rough = view.height, view.rough_height
    yield from _upright(-28, peak * unit, peak, "height")
    if rough > peak + 0.01:
        yield from _upright(-72, rough * unit, rough, "height")
    yield line([(LONG, -8), (LONG, -52)], "thin")
    yield label(
        LONG + TEXT * 0.35, -118, length(view.length, 2, name="tspan"), "ordinate", turned=True
    )


def _upright(x: float, z: float, height: float, cls: str) -> Iterator[str]:
    yield line([(x - 8, 0), (-6, 0)], "thin")
    yield line([(x - 8, z), (-6, z)], "thin")
    yield line([(x, 0), (x, z)], "thin")
    for end, inward in ((0.0, 1.0), (z, -1.0)):
        yield line([(x - 2.5, end + 9 * inward), (x, end), (x + 2.5, end + 9 * inward)], "tip")
    yield label(x - 5, z / 2, length(height, 2, name="tspan"), cls, turned=True)


def _key(view: Elevation, top: float) -> Iterator[str]:
    what = (
        "floor of each slot over the seat" if view.slots else "top under each string over the seat"
    )
    yield label(0, top + 105, words(f"Above: {what}. Below: from the left end."), "key")
