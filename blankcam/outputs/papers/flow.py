"""Blocks set one under the other on pages: measured first, so that none overlaps or leaves its
page.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from blankcam.inputs.units import Units
from blankcam.outputs.drawing import Drawing, Words, joined
from blankcam.outputs.render import ruled
from blankcam.outputs.rows import Table
from blankcam.outputs.typeface import POINTS_8, broken, width

PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}  # ISO 216; ANSI/ASME Y14.1 size A
MARGIN = 12.0
PLAIN, HEAD, TITLE = POINTS_8, 2.5, 3.5  # heights of capitals, mm
LINE = 3.5  # from one line of words to the next
GAP = 5.0  # between two blocks
BESIDE = 6.0  # between two things side by side
TOP, FOOT = 14.0, 28.0  # kept free at a page's head and foot, within its margins
FEWEST = 4  # rows of a table that a page begins or ends with


@dataclass(slots=True)
class Page:
    """One page as far as it is filled."""

    name: str
    """What is on it."""
    blocks: list[Drawing] = field(default_factory=list)


@dataclass(slots=True)
class Flow:
    """Pages that are being filled, from the top down; the paper's lower left corner is
    the origin.
    """

    size: tuple[float, float]
    units: Units = "both"
    pages: list[Page] = field(default_factory=list)
    y: float = 0.0
    """Where the next block begins."""

    @property
    def wide(self) -> float:
        """Between the margins, mm."""
        return self.size[0] - 2 * MARGIN

    @property
    def tall(self) -> float:
        """What a page has room for, mm."""
        return self.size[1] - 2 * MARGIN - TOP - FOOT

    @property
    def left(self) -> float:
        """What is left of this page."""
        return self.y - MARGIN - FOOT

    def begin(self, name: str) -> None:
        """A fresh page."""
        self.pages.append(Page(name=name))
        self.y = self.size[1] - MARGIN - TOP

    def go_on(self, name: str, room: float) -> None:
        """Other things on the same page where it has that room, else on a fresh one."""
        if self.pages and self.left >= room:
            self.pages[-1].name += f", {name}"
        else:
            self.begin(name)

    def keep(self, height: float) -> None:
        """Go on to another page where this one has no room of that height."""
        if self.left < min(height, self.tall) and self.pages[-1].blocks:
            self.begin(self.pages[-1].name.split(", ")[-1])

    def add(self, block: Drawing, *, indent: float = 0.0, gap: float = GAP) -> None:
        """A block as a whole, at least ``indent`` from the margin to its origin."""
        left, low, _, high = block.extent()
        self.keep(high - low)
        x = MARGIN + max(indent, -left)
        self.pages[-1].blocks.append(block.moved(x, self.y - high))
        self.y -= high - low + gap

    def rows(self, head: Drawing, blocks: Sequence[Drawing], size: tuple[float, float]) -> None:
        """Blocks of one size side by side in rows, as many as fit, under their heading."""
        across = int((self.wide + 2.0) / (size[0] + 2.0))
        for first in range(0, len(blocks), across):
            row = joined(
                block.moved(i * (size[0] + 2.0), 0.0)
                for i, block in enumerate(blocks[first : first + across])
            )
            if not first:
                row = under(head, row)
            self.add(row, gap=2.0)
        self.y -= GAP - 2.0

    def table(
        self, head: Drawing, table: Table, views: Mapping[str, Sequence[str]] | None = None
    ) -> None:
        """A table under its heading; its rows go on under the same headings on another page."""
        shown = in_units(table, views or {}, self.units)
        rest = table.rows
        while rest:
            some = replace(table, rows=rest[:FEWEST])
            self.keep(height_of(under(head, ruled.render(some, shown))))
            count = len(rest)
            block = under(head, ruled.render(replace(table, rows=rest), shown))
            while height_of(block) > self.left and count > 1:
                count -= 1
                block = under(head, ruled.render(replace(table, rows=rest[:count]), shown))
            if 0 < len(rest) - count < FEWEST:  # nor does another page begin with fewer
                count = max(len(rest) - FEWEST, 1)
                block = under(head, ruled.render(replace(table, rows=rest[:count]), shown))
            self.add(block)
            rest = rest[count:]

    def words(self, head: str, lines: Iterable[str]) -> None:
        """A heading and paragraphs, a line a block."""
        pieces = [p for line in lines for p in broken(line, PLAIN, self.wide)]
        for i, piece in enumerate(pieces):
            line = Drawing(words=(Words(at=(0.0, 0.0), text=piece, height=PLAIN),))
            block = under(heading(head), line) if head and not i else line
            if not i:
                self.keep(height_of(block) + LINE)
            self.add(block, gap=LINE - height_of(line))
        self.y -= GAP - LINE


def heading(text: str, more: str = "", room: float = 1e3) -> Drawing:
    """A heading, what is said of it beside it or, where there is no room, under it."""
    after = width(text, HEAD, bold=True) + 3.0
    words = [Words(at=(0.0, 0.0), text=text, height=HEAD, bold=True)]
    lines = list(broken(more, PLAIN, room - after)) if more else []
    if len(lines) == 1:
        words.append(Words(at=(after, 0.0), text=more, height=PLAIN))
    elif lines:
        words += [
            Words(at=(0.0, -LINE * i), text=line, height=PLAIN)
            for i, line in enumerate(broken(more, PLAIN, room), start=1)
        ]
    return Drawing(words=tuple(words))


def under(head: Drawing, block: Drawing, indent: float = 0.0) -> Drawing:
    """A block under its heading, both from the same left edge."""
    low, (left, _, _, high) = head.extent()[1], block.extent()
    return joined((head, block.moved(max(indent, -left), low - 1.8 - high)))


def beside(one: Drawing, other: Drawing, room: float) -> Drawing | None:
    """Two blocks side by side, upper edges together; None where the room does not hold both."""
    _, _, right, high = one.extent()
    left, _, end, top = other.extent()
    if right + BESIDE + end - left > room:
        return None
    return joined((one, other.moved(room - end, high - top)))


def height_of(drawing: Drawing) -> float:
    """How high a drawing is with its words, mm."""
    _, low, _, high = drawing.extent()
    return high - low


def in_units(
    table: Table, views: Mapping[str, Sequence[str]], units: Units
) -> Mapping[str, Sequence[str]]:
    """The columns' views with what was asked for: lengths in one unit, or in all that are given."""
    if units == "both":
        return views
    kept = {c.key: views.get(c.key, ("mm",)) for c in table.columns if c.unit == "mm"}
    imperial = {k: ("in", *(v for v in given if "/" in v)) for k, given in kept.items()}
    return dict.fromkeys(kept, ("mm",)) if units == "mm" else imperial
