"""Draw what test_cost.py measured: ``plot.py BENCHMARK.json COST.svg``, two panels, own scales."""

import json
import sys
from pathlib import Path

WIDE, HIGH, LEFT, DOWN = 300, 190, 52, 40
"""One panel and its margins, px."""


def points(record, name):
    """(what was asked, seconds) of one benchmark's cases, by what was asked."""
    found = [
        (float(b["param"]), b["stats"]["min"])
        for b in record["benchmarks"]
        if b["name"].startswith(f"{name}[")
    ]
    return sorted(found)


def panel(found, title, unit, at, factor=1.0):
    """A panel's marks as SVG: the measured places joined, each with its number."""
    xs, ys = [factor * x for x, _ in found], [y for _, y in found]
    right, top = max(xs), max(ys)

    def px(x):
        return at + LEFT + x / right * (WIDE - LEFT - 24)

    def py(y):
        return HIGH - DOWN - y / top * (HIGH - DOWN - 44)

    line = " ".join(f"{px(x):.1f},{py(y):.1f}" for x, y in zip(xs, ys, strict=True))
    yield f'<text x="{at + LEFT}" y="18" font-weight="bold">{title}</text>'
    yield f'<path d="M{px(0)} 30V{py(0)}H{px(right)}" fill="none" stroke="#666"/>'
    yield f'<polyline points="{line}" fill="none" stroke="#06c" stroke-width="2"/>'
    for x, y in zip(xs, ys, strict=True):
        yield f'<circle cx="{px(x):.1f}" cy="{py(y):.1f}" r="3" fill="#06c"/>'
        yield f'<text x="{px(x):.1f}" y="{py(y) - 8:.1f}" text-anchor="middle">{y:.2g} s</text>'
        yield f'<text x="{px(x):.1f}" y="{py(0) + 15}" text-anchor="middle">{x:g}</text>'
    yield f'<text x="{px(right)}" y="{py(0) + 31}" text-anchor="end">{unit}</text>'


def drawing(record):
    """The whole SVG."""
    marks = [
        *panel(points(record, "test_strings"), "a nut planned and proven", "strings", 0),
        *panel(points(record, "test_cells"), "its proof alone", "cells, um", WIDE, 1000.0),
    ]
    head = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {2 * WIDE + 20} {HIGH}" '
    head += 'font-family="sans-serif" font-size="11"><rect width="100%" height="100%" fill="#fff"/>'
    return "\n".join([head, *marks, "</svg>", ""])


if __name__ == "__main__":
    source, target = map(Path, sys.argv[1:])
    target.write_text(drawing(json.loads(source.read_text())))
