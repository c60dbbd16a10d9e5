"""How what a drawing holds is drawn on paper and as SVG: width, dashes and colours of each line.

From data/layers.toml, in black and a step thinner than a large drawing, and from data/section.toml
in its colours.
"""

from __future__ import annotations

import functools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from blankcam.data import table
from blankcam.inputs.layers import default_layers

THINNER = 0.7
"""ISO 128's 0.5/0.25 group one step down: the parts are small."""
BLACK = "#000000"
FINE = 0.1
"""mm, width of section lines."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ink:
    """How one kind of line or word is drawn."""

    width: float
    """mm."""
    dashes: tuple[float, ...] = ()
    """Strokes and gaps in turn, mm."""
    stroke: str | None = BLACK
    """None for a tint, which has no edge."""
    fill: str = BLACK
    """Of what is filled."""

    @property
    def words(self) -> str:
        """The colour of words that belong to it."""
        return self.stroke or BLACK


@functools.cache
def inks() -> Mapping[str, Ink]:
    """By what a path or words hold."""
    section = table("section")
    dashes: dict[str, Sequence[float]] = table("layers")["lines"]
    made = {
        rule.holds: _black(rule.width * THINNER, dashes[rule.line]) for rule in default_layers()
    }
    for holds, line in section["lines"].items():
        made[holds] = Ink(
            width=line["width"],
            dashes=tuple(n * line["width"] for n in dashes[line["kind"]]),
            stroke=line["colour"],
            fill=line["colour"],
        )
    for holds in ("ink", "second"):
        made[holds] = Ink(width=0.25 * THINNER, stroke=section["sheet"][holds])
    return made | dict(_tints(section["fills"]))


def _black(width: float, pattern: Sequence[float]) -> Ink:
    return Ink(width=width, dashes=tuple(n * width for n in pattern))


def _tints(fills: Mapping[str, Mapping[str, str]]) -> Iterator[tuple[str, Ink]]:
    """The grounds, and the hatching or dots over them."""
    for holds, fill in fills.items():
        yield holds, Ink(width=0.0, stroke=None, fill=fill["ground"])
        if "over" in fill:
            yield f"{holds} over", Ink(width=FINE, stroke=fill["colour"], fill=fill["colour"])
