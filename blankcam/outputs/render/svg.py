"""A drawing as SVG at 1:1: width and height in mm, the view box in mm, arcs as arcs."""

from __future__ import annotations

import math
from xml.sax.saxutils import escape

from blankcam.outputs.drawing import Drawing, Path, Words
from blankcam.outputs.render.inks import BLACK, Ink, inks
from blankcam.outputs.typeface import CAP, shown, width
from blankcam.parts.curve import Arc, Segment

ANCHORS = {"left": "start", "middle": "middle", "right": "end"}


def render(page: Drawing, size: tuple[float, float], title: str) -> bytes:
    """One page of that size in mm; the origin of the drawing is its lower left corner."""
    wide, tall = size
    drawn_as = inks()
    box = f'width="{wide:g}mm" height="{tall:g}mm" viewBox="0 0 {wide:g} {tall:g}"'
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" {box}>',
        f"<title>{escape(shown(title))}</title>",
        f'<rect width="{wide:g}" height="{tall:g}" fill="white"/>',
        '<g fill="none" stroke="black" stroke-linejoin="round">',
        *(_path(p, drawn_as[p.holds], tall) for p in page.paths),
        "</g>",
        '<g font-family="Helvetica, Arial, sans-serif" fill="black">',
        *(_words(w, drawn_as[w.holds], tall) for w in page.words),
        "</g>",
        "</svg>",
        "",
    ]
    return "\n".join(lines).encode()


def _number(value: float, digits: int = 6) -> str:
    """A number with so many decimals, without trailing noughts."""
    text = f"{value:.{digits}f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _path(path: Path, ink: Ink, tall: float) -> str:
    dashes = " ".join(_number(n) for n in ink.dashes)
    dash = f' stroke-dasharray="{dashes}"' if dashes else ""
    fill = f' fill="{ink.fill}"' if path.fill else ""
    colour = f' stroke="{ink.stroke or "none"}"' if ink.stroke != BLACK else ""
    shape = path_data(path, tall)
    name = path.holds.replace(" ", "-")
    width = _number(ink.width)
    return f'<path class="{name}" stroke-width="{width}"{colour}{dash}{fill} d="{shape}"/>'


def path_data(path: Path, tall: float = 0.0, *, digits: int = 6) -> str:
    """A path as SVG writes it; ``tall``: height of the page, from whose top SVG counts down."""
    a, b = (_number(v, digits) for v in (path.chain[0].start[0], tall - path.chain[0].start[1]))
    steps = [f"M{a} {b}", *(_step(seg, tall, digits) for seg in path.chain)]
    return " ".join([*steps, "Z"] if path.closed else steps)


def _step(seg: Segment, tall: float, digits: int) -> str:
    end = f"{_number(seg.end[0], digits)} {_number(tall - seg.end[1], digits)}"
    if not isinstance(seg, Arc):
        return f"L{end}"
    radius, large = _number(seg.radius, digits), int(abs(seg.sweep) > math.pi)
    return f"A{radius} {radius} 0 {large} {int(not seg.ccw)} {end}"


def _words(words: Words, ink: Ink, tall: float) -> str:
    a, b = _number(words.at[0]), _number(tall - words.at[1])
    turn = f' transform="rotate({_number(-words.turn)} {a} {b})"' if words.turn else ""
    bold = ' font-weight="bold"' if words.bold else ""
    colour = f' fill="{ink.words}"' if ink.words != BLACK else ""
    size, anchor = _number(words.height / CAP), ANCHORS[words.anchor]
    text = escape(shown(words.text))
    wide = round(width(words.text, words.height, bold=words.bold), 2)
    # held to the width that it was measured with, whatever font there is
    held = f' textLength="{_number(wide)}" lengthAdjust="spacingAndGlyphs"' if wide > 0 else ""
    return (
        f'<text x="{a}" y="{b}" font-size="{size}" '
        f'text-anchor="{anchor}"{held}{bold}{colour}{turn}>'
        f"{text}</text>"
    )
