"""A slot's card for the bench: its section, its numbers and its work on 60 x 45 mm of paper."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from blankcam.outputs.drawing import Drawing, Path, Words, joined, stroke
from blankcam.outputs.drawings.slot_across import across_view
from blankcam.outputs.drawings.slot_along import along_view
from blankcam.outputs.drawings.slot_section import SlotSection, Standing
from blankcam.outputs.drawings.strokes import Letters
from blankcam.outputs.typeface import POINTS_8, shortened, width
from blankcam.parts import silhouette

WIDE, TALL = 60.0, 45.0
EDGE = 1.6  # free inside the frame
LINE = 3.3  # from one line of words to the next
HEAD = 5.4  # height of the head
ACROSS = (37.6, 27.0)  # room of the section across
ALONG = (18.2, 12.6)  # and of the one along the slot
KEY = 7.0  # length of a line in the key
LINES = 3  # of work
FOOT = EDGE + LINES * LINE - 0.6  # height of the work's room

KEYS = {
    Standing.BLANK: ("rough", "finished"),
    Standing.ROUGH: ("rough", "finished"),
    Standing.REFIT: ("rough", "finished", "refit"),
    Standing.FINISHED: ("finished",),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class SlotCard:
    """One slot at one step of the work."""

    section: SlotSection
    standing: Standing
    state: str
    """That step in words, and who cuts: ``T7, rough``."""
    work: tuple[str, ...]
    """What is to be done, in order."""


def slot_card(card: SlotCard) -> Drawing:
    """The card, its lower left corner at the origin, mm; letters of 8 points."""
    letters = Letters(cap=POINTS_8, full=False)
    low = FOOT + 0.6
    across = across_view(card.section, card.standing, ACROSS, letters)
    along = along_view(card.section, card.standing, ALONG, letters)
    right = EDGE + ACROSS[0] + 0.8
    frame = Path(chain=silhouette.rectangle(0.0, 0.0, WIDE, TALL), holds="second", closed=True)
    return joined((
        Drawing(paths=(frame, _rule(TALL - HEAD), _rule(FOOT))),
        _head(card),
        across.moved(EDGE, low),
        along.moved(right, TALL - HEAD - ALONG[1] - 0.4),
        _key(card, (right, TALL - HEAD - ALONG[1] - 0.4)),
        _work(card.work),
    ))  # fmt: skip


def _rule(y: float) -> Path:
    return stroke((EDGE, y), (WIDE - EDGE, y), holds="second")


def _head(card: SlotCard) -> Drawing:
    """Number, note and string; on the right the step of the work."""
    slot, base = card.section.slot, TALL - HEAD + 1.7
    room = WIDE - 2 * EDGE - width(card.state, POINTS_8) - 2.0
    name = f"{slot.string}   {slot.note} {slot.gauge:.2f} {card.section.string.make}"
    text = shortened(name, POINTS_8, room, bold=True)
    return Drawing(
        words=(
            Words(at=(EDGE, base), text=text, height=POINTS_8, holds="ink", bold=True),
            Words(
                at=(WIDE - EDGE, base),
                text=card.state,
                height=POINTS_8,
                holds="refit" if card.standing is Standing.REFIT else "ink",
                anchor="right",
            ),
        )
    )


def _key(card: SlotCard, corner: tuple[float, float]) -> Drawing:
    """How far the floor falls, and which line is which."""
    x, y = corner
    fall = f"falls {_degrees(card.section)}°"
    words = [Words(at=(x + 0.4, y - LINE + 0.6), text=fall, height=POINTS_8, holds="ink")]
    lines = []
    for n, holds in enumerate(KEYS[card.standing], start=2):
        base = y - n * LINE + 0.6
        lines.append(stroke((x, base + POINTS_8 / 2), (x + KEY, base + POINTS_8 / 2), holds=holds))
        words.append(Words(at=(x + KEY + 1.0, base), text=holds, height=POINTS_8, holds="ink"))
    return Drawing(paths=tuple(lines), words=tuple(words))


def _degrees(section: SlotSection) -> str:
    from math import degrees

    return f"{degrees(section.slot.tilt):.1f}"


def _work(steps: Sequence[str]) -> Drawing:
    words = (
        Words(at=(x, FOOT - 2.9 - i * LINE), text=text, height=POINTS_8, holds="ink", bold=bold)
        for i, (x, text, bold) in enumerate(_lines(steps))
    )
    return Drawing(words=tuple(words))


def _lines(steps: Sequence[str]) -> Iterator[tuple[float, str, bool]]:
    """The work's lines, from the left edge; what is done first in bold."""
    for n, step in enumerate(steps[:LINES], start=1):
        text = shortened(f"{n}  {step}", POINTS_8, WIDE - 2 * EDGE, bold=n == 1)
        yield EDGE, text, n == 1
