"""The set-ups in the page: two small drawings and a list of what is touched, kept light.

The drawings are those of the cards. Paths that are drawn alike are one path, and places are whole
pixels.
"""

from __future__ import annotations

from collections.abc import Iterator

from blankcam.outputs import typeface
from blankcam.outputs.drawing import Drawing, Path, Words
from blankcam.outputs.drawings import setup_card
from blankcam.outputs.drawings.setup_card import Card
from blankcam.parts.curve import Arc, Point
from blankcam.preview.html import el, words

SCREEN = 5
"""Pixels a millimetre: the card's smallest letters are 14 px then."""
LARGE = 2.5
"""mm, height of capitals from which on letters are large."""
SHORT = 2
"""So few letters need not be held to the width that they were measured with."""
MARGIN = 3
"""px round a drawing."""
STYLES = {"left": "", "middle": "m", "right": "e"}


def setup_section(cards: tuple[Card, ...]) -> str:
    """All set-ups that are cut; empty without any."""
    if not cards:
        return ""
    said = "Numbers to set are as the machine shows them. The same cards are in sheet.pdf."
    return el(
        "section",
        el("h2", "How it is held, and what each zero is touched on"),
        *map(_setup, cards),
        el("p", said, cls="remark"),
        cls="card slot setups",
    )


def _setup(card: Card) -> str:
    name, part = setup_card.title(card), f"{card.part.name} on {card.sheet.setup}"
    side, plan = setup_card.views(card)
    return el(
        "figure",
        el("figcaption", el("h3", words(name)), el("span", words(setup_card.purpose(card)))),
        el(
            "div",
            el("div", _svg(side, f"{part}, {setup_card.SIDE_WORDS.lower()}"), cls="paper"),
            el("div", _svg(plan, f"{part}, {setup_card.PLAN_WORDS.lower()}"), cls="paper"),
            el("ol", *_steps(card)),
            cls="setup",
        ),
    )


def _steps(card: Card) -> Iterator[str]:
    for axis, lines in setup_card.entries(card):
        yield el("li", el("strong", axis), f" {words(' '.join(lines))}")


def _svg(drawing: Drawing, name: str) -> str:
    """A drawing no larger than what is drawn."""
    x0, y0, x1, y1 = drawing.extent()
    wide, tall = (_px(b - a) + 2 * MARGIN for a, b in ((x0, x1), (y0, y1)))
    return el(
        "svg",
        *_paths(drawing.paths),
        *map(_text, drawing.words),
        viewBox=f"{_px(x0) - MARGIN} {_px(-y1) - MARGIN} {wide} {tall}",
        width=wide,
        role="img",
        aria_label=name,
        cls="sheet",
    )


def _px(mm: float) -> int:
    return round(mm * SCREEN)


def _paths(paths: tuple[Path, ...]) -> Iterator[str]:
    """All of one kind as one path."""
    kinds = dict.fromkeys((p.holds, p.fill) for p in paths)
    for holds, fill in kinds:
        data = "".join(_data(p) for p in paths if (p.holds, p.fill) == (holds, fill))
        yield f'<path class="u-{holds}{" f" if fill else ""}" d="{data}"/>'


def _data(path: Path) -> str:
    """A path as short as it can be written; arcs are half turns or less."""
    a, b = at = _place(path.chain[0].start)
    steps = [f"M{a} {b}"]
    for seg in path.chain[:-1] if _comes_home(path) else path.chain:
        a, b = _place(seg.end)
        if isinstance(seg, Arc):
            r = _px(seg.radius)
            steps.append(f"a{r} {r} 0 0 {int(not seg.ccw)} {a - at[0]} {b - at[1]}")
        else:
            steps.append(f"{'L' if 'a' in steps[-1] else ' '}{a} {b}")
        at = (a, b)
    return "".join(steps).replace(" -", "-") + ("Z" if path.closed else "")


def _place(point: Point) -> tuple[int, int]:
    return _px(point[0]), _px(-point[1])


def _comes_home(path: Path) -> bool:
    """Whether its last line is what closing it draws."""
    last = path.chain[-1]
    closes = path.closed and _place(last.end) == _place(path.chain[0].start)
    return closes and not isinstance(last, Arc)


def _text(w: Words) -> str:
    x, y = _px(w.at[0]), _px(-w.at[1])
    turn = f' transform="rotate({-w.turn:g} {x} {y})"' if w.turn else ""
    style = f"{STYLES[w.anchor]} {'b' if w.bold else ''} {'l' if w.height > LARGE else ''}".split()
    named = f' class="{" ".join(style)}"' if style else ""
    long = _px(typeface.width(w.text, w.height, bold=w.bold))
    held = f' textLength="{long}"' if len(w.text) > SHORT else ""
    return f'<text x="{x}" y="{y}"{held}{named}{turn}>{words(w.text)}</text>'
