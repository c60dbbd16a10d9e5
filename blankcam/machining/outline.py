"""How an outline is cut out of a blank on its face: its levels, its tabs, what it leaves."""

from __future__ import annotations

import itertools
import math

import numpy as np

from blankcam.data import table
from blankcam.parts.curve import Array
from blankcam.parts.part import Part
from blankcam.parts.stage import Stage

LEAVE: float = table("limits")["outline"]["leave"]
"""mm left over the stage's top for the set-up on edge (our own: a touch-off error adds to it)."""
TAB_HEIGHT: float = table("cutting")["tabs"]["height"]
TAB_SHARE: float = table("cutting")["tabs"]["share"]
STANDING = 0.01
"""mm more that an outline may leave: its curve is fitted, rounded, and run a little out."""
THICKEST: float = table("cutting")["tabs"]["share_most"]
MOST_ASIDE: float = table("materials")["bend_max"]
"""mm that conventional levels may bend the tool into the ends, and that the ends may stand out."""
THROUGH: float = table("cutting")["outline"]["through"]
LEAST_THROUGH: float = table("cutting")["outline"]["through_least"]


def left_standing(part: Part, stage: Stage, x: Array) -> Array:
    """Height over x that the outline of a stage leaves for the set-up on edge, mm."""
    return np.asarray(part.top.height(np.clip(x, 0.0, part.length)) + raised(part, stage))


def raised(part: Part, stage: Stage) -> float:
    """How much higher than the finished top a stage's outline runs, mm."""
    return LEAVE + part.at(stage).raised


def aside(bend: float) -> float | None:
    """How much further out an outline's levels run so that they may go to and fro, mm.

    ``bend``: how far a level bends the tool, mm. On a climb level it bends away from the part, on
    a conventional one into it; of that, ``MOST_ASIDE`` is allowed and the rest is kept off the
    part. None where more than ``MOST_ASIDE`` would have to be kept off: then every level climbs.
    """
    over = max(0.0, bend - MOST_ASIDE)
    return math.ceil(1000 * over - 1e-9) / 1000 if over <= MOST_ASIDE else None


def levels_of(thick: float, step: float, tab: float, board: float) -> tuple[list[float], float]:
    """Z of each level, one of which is the tabs' top, and that top.

    The fewest levels, and of those with as many the fewest under the tabs' top, each of which
    costs an entry; then as deep into the waste board and with as thin tabs as those allow.
    ``board`` is how deep the waste board may be cut, ``tab`` the tabs' least height.
    """
    most, least = min(THROUGH, board), min(LEAST_THROUGH, board)
    thin, thickest = thick - tab, thick * (1 - THICKEST)
    for count in itertools.count(2):
        for under in range(1, count):
            top = min(thin, (count - under) * step)
            through = min(most, under * step + top - thick)
            if top >= thickest - 1e-9 and through >= least - 1e-9:
                return _evenly(thick + through, top, count - under, under), -top
    raise AssertionError  # enough levels always do


def _evenly(depth: float, top: float, over: int, under: int) -> list[float]:
    """Levels over and under the tabs' top, evenly spaced."""
    down = [-top * (k / over) for k in range(1, over + 1)]
    return down + [-top - (depth - top) * k / under for k in range(1, under + 1)]
