"""The letters of every drawing: Helvetica, one of the fonts every PDF reader has.

reportlab, which knows how wide its letters are, is imported where it is used.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache

from blankcam.outputs import switched

CAP = 0.718  # height of a capital over the size of the type (Helvetica's metrics)
DESCENT = 0.207 / CAP  # how far a g reaches under the baseline, over the height of a capital
POINTS_8 = 8 * 25.4 / 72 * CAP  # height of a capital in type of 8 points, mm
FONT, BOLD = "Helvetica", "Helvetica-Bold"


@lru_cache(maxsize=8192)
def width(text: str, height: float, *, bold: bool = False) -> float:
    """How wide a line of text will be, mm, for capitals of that height; switched, the wider."""
    from reportlab.pdfbase.pdfmetrics import stringWidth

    if switched.OPEN in text:
        readings = (switched.reading(text), switched.reading(text, "in"))
        return max(width(t, height, bold=bold) for t in readings)
    return float(stringWidth(shown(text), BOLD if bold else FONT, height / CAP))


def shown(text: str) -> str:
    """Text as the font can show it; a character it lacks becomes a point or a question mark."""
    return (
        "".join(c if c.isprintable() else "." for c in text)
        .encode("cp1252", "replace")
        .decode("cp1252")
    )


def shortened(text: str, height: float, room: float, *, bold: bool = False) -> str:
    """Text cut to a room, mm, with points where something was left out."""
    text = text[:300]
    if width(text, height, bold=bold) <= room:
        return text
    while text and width(text + "...", height, bold=bold) > room:
        text = text[:-1]
    return text + "..."


def broken(text: str, height: float, room: float) -> Iterator[str]:
    """A paragraph as lines no wider than the room, mm; a longer word is cut."""
    line = ""
    for word in text.split():
        longer = f"{line} {word}".strip()
        if line and width(longer, height) > room:
            yield shortened(line, height, room)
            longer = word
        line = longer
    yield shortened(line, height, room)
