"""The string path from the side, and values over the frets, as SVG in the page."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator

import numpy as np

from blankcam.outputs.drawing import spread
from blankcam.preview.drawing import label, line, polyline
from blankcam.preview.html import el, fixed, length, number, void, words
from blankcam.preview.model import Plot, SideString, SideView

WIDTH = 960.0
SIDE_HEIGHT = 250.0
PLOT_WIDTH, PLOT_HEIGHT = 430.0, 260.0


def side(view: SideView) -> tuple[str, float]:
    """The drawing, and how many times larger its heights are than its lengths."""
    along = WIDTH / (max(float(s.line[-1, 0]) for s in view.strings) * 1.02)
    highest = max(float(s.line[:, 1].max()) for s in view.strings)
    lowest = float(view.wood[:, 1].min()) - 0.8
    up = _round_down(SIDE_HEIGHT / (highest - lowest) / along) * along
    low = lowest * up

    body = [
        _wood(view, along, up, low),
        *_frets(view, along, up),
        line([(0, view.crown * up), (view.board_end * along, view.crown * up)], "straightedge"),
        *(_string(s, along, up) for s in view.strings),
        label(6, view.strings[0].line[0, 1] * up + 10, "nut", "place start"),
        label(view.strings[0].line[-1, 0] * along - 8, 6, "saddle", "place end"),
    ]
    height = highest * up - low
    return (
        el(
            "svg",
            el("title", "String path seen from the side"),
            *body,
            viewBox=f"-20 {-highest * up - 20:.1f} {WIDTH + 40} {height + 30:.1f}",
            role="img",
            aria_label="String path seen from the side, heights exaggerated",
            cls="side",
        ),
        up / along,
    )


def _round_down(factor: float) -> float:
    """A factor one can say: one or two leading digits, the last 0 or 5."""
    size = 10.0 ** math.floor(math.log10(factor))
    return math.floor(factor / size * 2) / 2 * size


def _wood(view: SideView, along: float, up: float, low: float) -> str:
    top = view.wood * np.array([along, up])
    corners = np.array([[top[-1, 0], low], [top[0, 0], low]])
    return line(np.vstack([top, corners]), "wood", close=True)


def _frets(view: SideView, along: float, up: float) -> Iterator[str]:
    for n, s, crown, _ in view.strings[0].frets:
        at = float(s) * along
        wood = float(np.interp(s, view.wood[:, 0], view.wood[:, 1]))
        yield line([(at, wood * up), (at, float(crown) * up)], "fret")
        yield label(at, wood * up - 17, str(int(n)), "fretname")


def _string(s: SideString, along: float, up: float) -> str:
    run = s.line * np.array([along, up])
    gaps, names = [], []
    for _, place, crown, gap in s.frets:
        at, under = float(place) * along, float(crown + gap) * up
        gaps.append(polyline([(at, float(crown) * up), (at, under)]))
        value = length(float(gap), 2, name="tspan")
        names.append(label(at + 4, under + 6, value, "gapvalue", turned=True))
    return el(
        "g",
        line(run, "string"),
        void("path", d="".join(gaps), cls="gap"),
        *names,
        *(line([(x, z), (x, 0)], "stand") for x, z in (run[0], run[-1])),
        cls="path",
        data_string=s.string,
    )


def plot(p: Plot) -> str:
    """Lines over the frets, each with its name at its end."""
    low, high, step = _range(p)
    scale = PLOT_HEIGHT / (high - low)
    left = {f: i * PLOT_WIDTH / (len(p.frets) - 1) for i, f in enumerate(p.frets)}

    def z(v: float) -> float:
        return (v - low) * scale

    names = spread_names(p, z)
    lines = [_curve(p, i, left, z, names[i]) for i in range(len(p.names))]
    return el(
        "svg",
        el("title", words(p.caption)),
        *_axes(p, low, high, step, left, z),
        *lines,
        viewBox=f"-62 {-PLOT_HEIGHT - 36} {PLOT_WIDTH + 150} {PLOT_HEIGHT + 92}",
        role="img",
        aria_label=p.caption,
        cls="plot",
    )


def spread_names(p: Plot, z: Callable[[float], float]) -> list[float]:
    """Heights of the names at the right, in the strings' order, not upon one another."""
    ends = [z(float(v)) for v in p.values[:, -1]]
    order = sorted(range(len(ends)), key=lambda i: ends[i])
    placed = spread([ends[i] for i in order], 19.0)
    over = max(0.0, placed[-1] - PLOT_HEIGHT - 8)
    placed = [h - over for h in placed]
    return [h for _, h in sorted(zip(order, placed, strict=True))]


def _range(p: Plot) -> tuple[float, float, float]:
    low, high = float(np.nanmin(p.values)), float(np.nanmax(p.values))
    if p.zero:
        low, high = min(low, 0.0), max(high, 0.0)
    span = max(high - low, 1e-6)
    size = 10 ** math.floor(math.log10(span / 4))
    step = next(m * size for m in (1, 2, 5, 10) if span / (m * size) <= 6)
    return math.floor(low / step + 1e-9) * step, math.ceil(high / step - 1e-9) * step, step


def _axes(p: Plot, low: float, high: float, step: float, left: dict[int, float],
          z: Callable[[float], float]) -> Iterator[str]:  # fmt: skip
    last = max(left.values())
    for i in range(round((high - low) / step) + 1):
        v = low + i * step
        zero = " zero" if p.zero and abs(v) < step / 1e3 else ""
        yield line([(0, z(v)), (last, z(v))], "grid" + zero)
        digits = max(0, -math.floor(math.log10(step) + 1e-9))
        inner = length(v, digits + 1, name="tspan") if p.unit == "mm" else fixed(v, digits)
        yield label(-10, z(v) - 5, inner, "tick")
    for f, at in left.items():
        yield label(at, -24, str(f), "fretname")
    yield label(last / 2, -48, "fret", "axis")
    unit = '<tspan class="unit">mm</tspan>' if p.unit == "mm" else words(p.unit)
    yield label(-58, PLOT_HEIGHT + 16, f"{words(p.axis)}, {unit}", "axis start")


def _curve(p: Plot, i: int, left: dict[int, float], z: Callable[[float], float],
           name: float) -> str:  # fmt: skip
    points = [(left[f], z(float(v))) for f, v in zip(p.frets, p.values[i], strict=True)]
    dots = "".join(f"M{number(a, 2)} {number(-b, 2)}h0" for a, b in points)
    last = points[-1]
    return el(
        "g",
        line(points, "curve"),
        void("path", d=dots, cls="dots"),
        line([(last[0] + 6, last[1]), (last[0] + 22, name)], "thin"),
        label(last[0] + 27, name - 5, words(p.names[i]), "name"),
        cls=f"series s{i % 6}",
    )
