"""A program's moves as chords with the time at each point."""

from __future__ import annotations

import math
from typing import Protocol

import numpy as np

from blankcam.inputs.machine import Axis, Profile
from blankcam.inputs.tool import Tool
from blankcam.outputs.tables.machine_work import tool_words
from blankcam.preview.model import Floats, Ints, PathView, ToolView

SAGITTA = 0.001
"""mm an arc may leave its chords."""
PLANES = {17: (0, 1, 2), 18: (2, 0, 1), 19: (1, 2, 0)}


class ReadMoves(Protocol):
    """n moves as the replay's reader gives them: arrays (n,) and (n, 3), codes as in G0 to G3."""

    @property
    def line(self) -> Ints: ...  # noqa: D102
    @property
    def kind(self) -> Ints: ...  # noqa: D102
    @property
    def plane(self) -> Ints: ...  # noqa: D102
    @property
    def start(self) -> Floats: ...  # noqa: D102
    @property
    def end(self) -> Floats: ...  # noqa: D102
    @property
    def centre(self) -> Floats: ...  # noqa: D102
    @property
    def feed(self) -> Floats: ...  # noqa: D102
    @property
    def tool(self) -> Ints: ...  # noqa: D102


def path(moves: ReadMoves, profile: Profile, seconds: float) -> PathView:
    """The way of the tool; ``seconds`` is the whole program's estimate.

    Moves before all three coordinates are known are left out. Times are those of the moves at
    their feeds, stretched evenly to the estimate.
    """
    known = np.flatnonzero(np.isfinite(moves.end).all(axis=1))
    points: list[Floats] = []
    index: list[int] = []
    for i in known:
        run = _chords(moves, int(i)) if points else moves.end[i][None, :]
        points.extend(run)
        index.extend([int(i)] * len(run))
    at = np.array(points).reshape(-1, 3)
    of = np.array(index, dtype=np.int64)
    return PathView(
        points=at,
        line=moves.line[of],
        rapid=moves.kind[of] == 0,
        tool=moves.tool[of],
        seconds=_times(at, moves.kind[of] == 0, moves.feed[of], profile, seconds),
    )


def _chords(moves: ReadMoves, i: int) -> Floats:
    """The points of move i after its start."""
    end = moves.end[i]
    if moves.kind[i] < 2 or not np.isfinite(moves.start[i]).all():
        return np.array(end[None, :])
    a, b, c = PLANES[int(moves.plane[i])]
    start, centre = moves.start[i], moves.centre[i]
    first = math.atan2(start[b] - centre[b], start[a] - centre[a])
    last = math.atan2(end[b] - centre[b], end[a] - centre[a])
    turn = (last - first) % math.tau
    sweep = turn if moves.kind[i] == 3 else turn - math.tau
    radius = math.hypot(start[a] - centre[a], start[b] - centre[b])
    step = 2 * math.acos(max(1 - SAGITTA / max(radius, SAGITTA), -1.0))
    count = max(1, math.ceil(abs(sweep) / step))
    t = np.arange(1, count + 1) / count
    out = np.empty((len(t), 3))
    out[:, a] = centre[a] + radius * np.cos(first + sweep * t)
    out[:, b] = centre[b] + radius * np.sin(first + sweep * t)
    out[:, c] = start[c] + (end[c] - start[c]) * t
    out[-1] = end
    return out


def _times(at: Floats, rapid: np.ndarray[tuple[int, ...], np.dtype[np.bool_]], feed: Floats,
           profile: Profile, total: float) -> Floats:  # fmt: skip
    if not len(at):
        return np.zeros(0)
    steps = np.diff(at, axis=0, prepend=at[:1])
    fast = np.max(np.abs(steps) / _axes(profile.rapid), axis=1) * 60
    slow = np.linalg.norm(steps, axis=1) / np.maximum(np.nan_to_num(feed), 1e-6) * 60
    spent = np.cumsum(np.where(rapid, fast, slow))
    return np.asarray(spent * (total / spent[-1] if spent[-1] > 0 else 0.0))


def _axes(axis: Axis) -> Floats:
    return np.array([axis.x, axis.y, axis.z])


def tool_view(tool: Tool) -> ToolView:
    """A tool as it is drawn."""
    return ToolView(
        number=tool.number,
        shape=str(tool.shape),
        diameter=tool.diameter,
        tip_diameter=tool.tip_diameter,
        angle=tool.angle,
        flute_length=tool.flute_length,
        stick_out=tool.stick_out,
        shank=tool.shank,
        words=tool_words(tool),
    )
