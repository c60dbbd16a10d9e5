"""What the page's plots and its side view show, from a job worked out."""

from __future__ import annotations

import numpy as np

from blankcam.instrument.heights import StringPath
from blankcam.outputs.tables.strings import clearances, frets_shown
from blankcam.parts.design import Design
from blankcam.preview.model import Plot, SideString, SideView


def plots(found: Design) -> tuple[Plot, ...]:
    """Clearances and cents over the frets."""
    frets = frets_shown(found)
    names = tuple(f"{s.number} {s.note}" for s in found.instrument.strings)
    gaps = np.array([clearances(found, s) for s in found.instrument.strings])
    return (
        Plot(key="clearance", caption="Clearance over each fret", axis="Clearance", unit="mm",
             digits=2, names=names, frets=frets, values=gaps, zero=True),
        Plot(key="cents", caption="Cents off at each fret", axis="Sharp + or flat −", unit="cents",
             digits=1, names=names, frets=tuple(range(1, 13)),
             values=np.array([s.cents for s in found.strings]), zero=True),
    )  # fmt: skip


def side(found: Design) -> SideView:
    """The strings' paths from the side, each over the wood along its own line."""
    board = found.instrument.board
    body = float(board.fret_at(board.body_fret))
    end = min(float(board.fret_at(max(20, board.body_fret + 4))), 0.8 * board.scale)
    s = np.linspace(0.0, end, 121)
    return SideView(
        crown=board.fret_height,
        relief=board.relief,
        board_end=max(body, end),
        wood=np.column_stack([s, -board.dip(s)]),
        strings=tuple(_side(found, string) for string in found.instrument.strings),
    )


def _side(found: Design, string: StringPath) -> SideString:
    board, frets = found.instrument.board, np.array(frets_shown(found))
    s = np.linspace(0.0, string.length, 61)
    over = string.underside(s) - board.wood(s, string.across(s))
    at = board.fret_at(frets)
    crown = board.fret_height - board.dip(at)
    return SideString(
        string=string.number,
        note=string.note,
        line=np.column_stack([s, over]),
        frets=np.column_stack([frets, at, crown, clearances(found, string)]),
    )
