"""Feeds and speeds of the moves that cut, against the table for the tool in the spindle.

F in mm/min and S in rpm as NISTIR 6556 takes them (3.7.1, 3.7.2; G94, 3.5.19): along the path of
the tip, arcs included.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from blankcam.data import table
from blankcam.replay.codes import Code
from blankcam.replay.cutting_data import Allowed
from blankcam.replay.findings import Collector
from blankcam.replay.limits import Excess, report_move
from blankcam.replay.motions import Moves
from blankcam.replay.polyline import value_by_tool
from blankcam.replay.reader import ParsedProgram
from blankcam.replay.sweep import TOUCH, SweepResult

Floats = NDArray[np.float64]


def plunge_limits(
    moves: Moves, allowed: Mapping[int, Allowed], given: Mapping[int, float], machine: float
) -> Floats:
    """How fast each move may go down into stock, (n,), mm/min.

    The least of the table's share of the feed it allows, of what is ``given`` by tool number, and
    of the machine's feed along Z.
    """
    rate = {n: a.plunge * a.teeth * a.chip for n, a in allowed.items()}
    limit = value_by_tool(moves, rate) * moves.speed
    known = np.isin(moves.tool, list(allowed))
    least = {int(n): given.get(int(n), machine) for n in np.unique(moves.tool)}
    most = np.minimum(value_by_tool(moves, least), machine)
    over = float(table("proof")["cutting"]["feed_over"])
    return np.asarray(np.where(known, np.minimum(limit, most), most) * over)


def check_cutting(
    program: ParsedProgram, swept: SweepResult, allowed: Mapping[int, Allowed], found: Collector
) -> None:
    """Fault moves whose feed a tooth or edge is faster than the table allows, or that only rub."""
    moves, rules = program.moves, table("proof")["cutting"]
    over = rules["feed_over"]
    cuts = moves.cutting & (swept.depth > TOUCH) & np.isin(moves.tool, list(allowed))
    teeth = value_by_tool(moves, {n: a.teeth for n, a in allowed.items()})
    chips = value_by_tool(moves, {n: a.chip for n, a in allowed.items()})
    turns = np.maximum(teeth * moves.speed, 1e-9)
    for i in np.flatnonzero(cuts & (moves.feed > turns * chips * over)):
        what = "feed a tooth over the material table's, mm"
        excess = Excess(Code.CHIP, what, moves.feed[i] / turns[i], chips[i])
        report_move(found, program, int(i), excess)
    least = rules["rubs_under"]
    for i in np.flatnonzero(cuts & (moves.feed * over < turns * least)):
        what = "so little feed a tooth that the edge only rubs, mm"
        excess = Excess(Code.RUBS, what, moves.feed[i] / turns[i], least)
        report_move(found, program, int(i), excess)
    fastest = value_by_tool(moves, {n: a.rpm() for n, a in allowed.items()})
    for i in np.flatnonzero(cuts & (moves.speed > fastest * over)):
        limit = allowed[int(moves.tool[i])].speed
        what = "surface speed over the material table's, m/min"
        excess = Excess(Code.SURFACE_SPEED, what, limit * moves.speed[i] / fastest[i], limit)
        report_move(found, program, int(i), excess)


def check_plunges(
    program: ParsedProgram, swept: SweepResult, limits: Floats, found: Collector
) -> None:
    """Fault tips that go down into stock too fast, move after move taken together."""
    deepest = table("proof")["cutting"]["plunge"]
    together, last = 0.0, -2
    for plunge in swept.plunges:
        together = plunge.deep + (together if plunge.move == last + 1 else 0.0)
        last = plunge.move
        if together > deepest:
            what = f"goes {together:.3f} mm down into stock too fast, mm/min"
            over = table("proof")["cutting"]["feed_over"]
            limit = float(limits[plunge.move]) / over
            report_move(found, program, plunge.move, Excess(Code.PLUNGE, what, plunge.fast, limit))
