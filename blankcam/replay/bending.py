"""How far the tool bends on the passes that bring out a top, reckoned apart from the planning.

A pass pushes its tool aside by F = kc h ap, with h the chip a tooth, ap the depth of the cut and kc
the high end of the material's cutting pressure. The tool bends like a cantilever whose thickness is
a share of its diameter (Kops and Vo, CIRP Ann. 39(1), 1990); what it bends on the last pass over a
place is missing or standing there.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from blankcam.data import table
from blankcam.inputs.machine import Profile
from blankcam.inputs.tool import Shape, Tool
from blankcam.replay.codes import Code
from blankcam.replay.cutting_data import Allowed, row_of
from blankcam.replay.deviation import HeightAt
from blankcam.replay.findings import Collector
from blankcam.replay.heightmap import Heightmap
from blankcam.replay.limits import Excess, report_move
from blankcam.replay.motions import Moves, bounds
from blankcam.replay.polyline import value_by_tool
from blankcam.replay.reader import ParsedProgram
from blankcam.replay.sweep import SweepResult, replay_moves, swept_heights
from blankcam.replay.tool_profile import tool_profile_of

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

SLICES = 1000
"""Ends of slices along a tool, each as thick as it is in its middle."""
SAME = 1e-6
"""mm under which two heights are one."""


def compliance(tool: Tool) -> float:
    """How far a tool's tip goes aside, mm/N: the sum of x² dx/(E I) from the tip up to
    the holder.
    """
    data = table("materials")
    thin = min(_thin(tool), tool.stick_out)
    ends = np.concatenate([np.linspace(0.0, tool.stick_out, SLICES), [thin]])
    ends.sort()
    x = (ends[1:] + ends[:-1]) / 2
    beam = float(data["beam_factor"]) * np.where(x < thin, _thickness(tool, x), tool.shank)
    stiff = data["tool_modulus"] * np.pi * beam**4 / 64
    return float(np.sum(np.diff(ends**3) / (3 * stiff)))


def _thin(tool: Tool) -> float:
    """How far up a tool is as thick as its cutting end; a shank that is no thicker
    counts as that.
    """
    cone = tool.shape in (Shape.TAPERED_BALL, Shape.VEE)
    return tool.reach if cone or tool.shank > tool.diameter else tool.stick_out


def _thickness(tool: Tool, x: Floats) -> Floats:
    if tool.shape in (Shape.TAPERED_BALL, Shape.VEE):
        return np.array([2 * tool.radius_at(float(each)) for each in x])
    return np.full_like(x, tool.diameter)


def pressure(row: Mapping[str, Any], chip: Floats) -> Floats:
    """The high end of the cutting pressure, MPa, at chips of so many mm."""
    high = row["pressure_high"]
    return np.asarray(
        high["steady"] * chip ** -high.get("exponent", 0.0) + high.get("edge", 0.0) / chip
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class ToolsAtWork:
    """A machine's tools in a material."""

    profile: Profile
    allowed: Mapping[int, Allowed]
    """What each tool may do there, by number."""
    material: str

    @property
    def tools(self) -> Mapping[int, Tool]:
        """The machine's tools by number."""
        return {t.number: t for t in self.profile.tools}

    def bend_per_mm(self, moves: Moves) -> Floats:
        """How far each cutting move bends its tool for each mm of depth, mm, (n,)."""
        known = {n: a for n, a in self.allowed.items() if np.any(moves.tool == n)}
        teeth = value_by_tool(moves, {n: a.teeth for n, a in known.items()})
        give = value_by_tool(moves, {n: compliance(self.tools[n]) for n in known})
        turns = teeth * moves.speed
        sure = moves.cutting & np.isin(moves.tool, list(known)) & (turns > 0) & (moves.feed > 0)
        chip = np.where(sure, moves.feed, 1.0) / np.where(sure, turns, 1.0)
        return np.where(sure, give * pressure(row_of(self.material), chip) * chip, 0.0)


def check_bends(
    program: ParsedProgram,
    heights: BeforeAndAfter,
    swept: SweepResult,
    top: HeightAt,
    at_work: ToolsAtWork,
    found: Collector,
) -> None:
    """Fault moves that bring out the top and bend their tool too far there.

    A move may be deep where it brings nothing out, as beyond an end: it is judged by the deepest of
    the places that stay as it leaves them. For this the program is replayed once more.
    """
    rules, moves = table("proof"), program.moves
    limit = table("materials")["bend_max"]
    each = at_work.bend_per_mm(moves)
    suspects = np.flatnonzero(each * swept.depth > limit * rules["cutting"]["bend_over"])
    if not suspects.size:
        return
    over = heights.after.z - top(*np.meshgrid(heights.after.x, heights.after.y))
    stays = np.abs(over) <= rules["limits"]["left"]
    low, high = bounds(moves)
    windows = ((i, (low[i, :2], high[i, :2])) for i in suspects.tolist())
    last = {i: c for i, w in windows if (c := _left_by(heights.after, stays, moves, i, at_work, w))}
    for i, depth, at in _depths(heights, moves, last, at_work):
        if (far := each[i] * depth) > limit * rules["cutting"]["bend_over"]:
            what = f"the tool bends too far where it cuts {depth:.3f} mm of a top, um"
            report_move(found, program, i, Excess(Code.BEND, what, 1000 * far, 1000 * limit, at))


@dataclass(frozen=True, slots=True, kw_only=True)
class BeforeAndAfter:
    """The stock before and after a program, over the same places."""

    before: Heightmap
    after: Heightmap


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftAsCut:
    """Cells of the heightmap that nothing cut after a move, and how high it left them."""

    rows: slice
    columns: slice
    some: Bools
    """(ny, nx) of the window."""
    sunk: Floats
    """(ny, nx), mm."""


def _left_by(after: Heightmap, stays: Bools, moves: Moves, i: int, at_work: ToolsAtWork,
             over: tuple[Floats, Floats]) -> LeftAsCut | None:  # fmt: skip
    """The cells of the finished top that stand as a move left them; None where there are none.

    ``over``: the lowest and highest x and y of its path.
    """
    form = tool_profile_of(at_work.tools[int(moves.tool[i])])
    rows, columns = after.window(over[0] - form.radius, over[1] + form.radius)
    if not stays[rows, columns].any():
        return None
    sunk = swept_heights(form, moves, i, after.x[columns], after.y[rows])
    some = stays[rows, columns] & (sunk <= after.z[rows, columns] + SAME)
    return LeftAsCut(rows=rows, columns=columns, some=some, sunk=sunk) if some.any() else None


def _depths(
    heights: BeforeAndAfter, moves: Moves, cells: Mapping[int, LeftAsCut], at_work: ToolsAtWork
) -> Iterator[tuple[int, float, tuple[float, float, float]]]:
    """How much each move cut off its cells at most, mm, and where."""
    now, done = dataclasses.replace(heights.before, z=heights.before.z.copy()), 0
    for i, mine in cells.items():
        replay_moves(now, moves.part(slice(done, i)), at_work.tools, at_work.profile)
        done = i
        off = np.where(mine.some, now.z[mine.rows, mine.columns] - mine.sunk, 0.0)
        row, column = np.unravel_index(int(off.argmax()), off.shape)
        at = (now.x[mine.columns][column], now.y[mine.rows][row], mine.sunk[row, column])
        yield i, float(off[row, column]), (float(at[0]), float(at[1]), float(at[2]))
