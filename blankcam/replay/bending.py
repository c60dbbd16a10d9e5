"""How far the tool bends on the passes that bring out a top, reckoned apart from the planning.

A pass pushes its tool aside by F = kc h ap, with h the chip a tooth, ap the depth of the cut and kc
the high end of the material's cutting pressure. The tool bends like a cantilever whose thickness is
a share of its diameter (Kops and Vo, CIRP Ann. 39(1), 1990); what it bends on the last pass over a
place is missing or standing there.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from blankcam.data import table
from blankcam.inputs.tool import Shape, Tool
from blankcam.replay.codes import Code
from blankcam.replay.cutting_data import Allowed, row_of
from blankcam.replay.deviation import HeightAt
from blankcam.replay.findings import Collector
from blankcam.replay.heightmap import Heightmap
from blankcam.replay.limits import Excess, report_move
from blankcam.replay.motions import Moves
from blankcam.replay.polyline import value_by_tool
from blankcam.replay.reader import Program
from blankcam.replay.sweep import SweepResult

Floats = NDArray[np.float64]

SLICES = 1000
"""Ends of slices along a tool, each as thick as it is in its middle."""
SAME = 1e-6
"""mm under which two heights are one."""


def compliance(tool: Tool) -> float:
    """How far a tool's tip goes aside, mm/N: the sum of x² dx/(E I) from the tip up to the holder."""
    data = table("materials")
    thin = min(_thin(tool), tool.stick_out)
    ends = np.concatenate([np.linspace(0.0, tool.stick_out, SLICES), [thin]])
    ends.sort()
    x = (ends[1:] + ends[:-1]) / 2
    beam = float(data["beam_factor"]) * np.where(x < thin, _thickness(tool, x), tool.shank)
    stiff = data["tool_modulus"] * np.pi * beam**4 / 64
    return float(np.sum(np.diff(ends**3) / (3 * stiff)))


def _thin(tool: Tool) -> float:
    """How far up a tool is as thick as its cutting end; a shank that is no thicker counts as that."""
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


def bends(moves: Moves, depth: Floats, tools: Mapping[int, Tool], allowed: Mapping[int, Allowed],
          material: str) -> Floats:  # fmt: skip
    """How far each cutting move bends its tool, mm, (n,), at a depth of cut of so many mm, (n,)."""
    known = {n: a for n, a in allowed.items() if np.any(moves.tool == n)}
    teeth = value_by_tool(moves, {n: a.teeth for n, a in known.items()})
    give = value_by_tool(moves, {n: compliance(tools[n]) for n in known})
    turns = teeth * moves.speed
    sure = moves.cutting & np.isin(moves.tool, list(known)) & (turns > 0) & (moves.feed > 0)
    chip = np.where(sure, moves.feed, 1.0) / np.where(sure, turns, 1.0)
    return np.where(sure, give * pressure(row_of(material), chip) * chip * depth, 0.0)


def check_bends(
    program: Program,
    swept: SweepResult,
    heights: Heightmap,
    top: HeightAt,
    bent: Callable[[Moves, Floats], Floats],
    found: Collector,
) -> None:
    """Fault moves that bring out the top and bend their tool too far there.

    Parameters
    ----------
    heights : what the program leaves
    top : that it is to bring out
    bent : how far moves bend their tools, mm, given their depths
    """
    rules, moves = table("proof"), program.moves
    limit = table("materials")["bend_max"]
    far = bent(moves, swept.depth)
    for i in np.flatnonzero(far > limit * rules["cutting"]["bend_over"]).tolist():
        at = float(swept.place[i][0]), float(swept.place[i][1]), float(swept.place[i][2])
        row, column = (int(np.argmin(np.abs(axis - place)))
                       for axis, place in ((heights.y, at[1]), (heights.x, at[0])))  # fmt: skip
        over = at[2] - float(top(np.array(at[0]), np.array(at[1])))
        if heights.z[row, column] >= at[2] - SAME and abs(over) <= rules["limits"]["left"]:
            what = f"the tool bends too far where it cuts {swept.depth[i]:.3f} mm of a top, um"
            excess = Excess(Code.BEND, what, 1000 * float(far[i]), 1000 * limit, at)
            report_move(found, program, i, excess)
