"""What stands between the passes of a ball: the ridges, or scallops, that it leaves.

Also what it leaves where a hollow or a bend of the surface is too sharp for it.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from blankcam.data import table as data_table
from blankcam.machining.cutter_contact import ASIDE, Bools, ContactTable
from blankcam.parts.curve import Array

Indices = NDArray[np.intp]

SIDE: float = data_table("proof")["limits"]["side"]
APART = 0.6
"""mm along the part between the sections that are looked at."""
FINE = 4
"""Parts of a table's stride at which the ball is looked at there."""
WORST = 6
"""Of these sections, around so many that stand highest all places along the part are looked at."""
ACROSS, CLOSELY = 65, 3
"""Near hollows so many places across the part are looked at, and along it so many to a stride."""
ROUNDS = 6
"""Times that the crest between two passes is sought nearer: 64 times as near as at first."""


def left_between(table: ContactTable) -> float:
    """How high over the surface the passes of a ball leave at most, mm.

    As the proof has it: upright, or where the surface is steep to the surface a little aside.

    Looked at on sections across the blank: at the crest between each pass and the next one, near
    hollows along the part everywhere, and at both faces. Each pass counts with all places
    of the ball that reach a section, so that passes which climb or go askew are judged as they
    cut; and passes that follow a ridge as far aside as their lines may run.

    Where a ball bridges a hollow, more may stand than is told: it does not touch there as reckoned.

    Raises ValueError for another tool than a ball.
    """
    stock, touches = table.sweep.stock, table.touches
    if touches is None:
        raise ValueError("only a ball leaves scallops")
    over = np.flatnonzero((table.xs >= stock.x0) & (table.xs <= stock.x1))
    every = max(1, round(APART / table.stride))
    coarse = over[::every]
    worst = coarse[np.argsort(_highest(_Passes(table, touches, coarse, 1)))[-WORST:]]
    # not np.unique: it loads numpy.ma
    around = np.clip(worst[:, None] + np.arange(-every, every + 1), 0, len(table.xs) - 1)
    looked_at = np.zeros(len(table.xs), dtype=bool)
    looked_at[around] = True
    near = _Passes(table, touches, over[looked_at[over]], FINE)
    most = float(np.max(_highest(near)))
    more = np.arange(over[0], over[-1], 1 / CLOSELY)
    hollow = more[table.sweep.near_hollows(table.xs[0] + table.stride * more)]
    if hollow.size:
        passes = _Passes(table, touches, hollow, FINE)
        most = max(most, float(np.max(_highest(passes))))
        most = _most_anywhere(passes, _Passes(table, touches, hollow, 1), most)
    return most


def _highest(passes: _Passes) -> Array:
    """(k,) the highest over each section: at the crests and at the faces."""
    rows, columns = np.nonzero(passes.wanted[1:] & passes.wanted[:-1])
    highest = np.maximum(*(_lowest_at(passes, y) for y in passes.faces))
    y = np.clip(_crests(passes, rows, columns), *passes.faces)
    # Where passes bend sharply, the next but one may cut lower
    each = (np.clip(rows + k, 0, len(passes.wanted) - 1) for k in (-1, 0, 1, 2))
    left = (np.where(passes.wanted[i, columns], passes.over(i, columns, y), np.inf) for i in each)
    np.maximum.at(highest, columns, np.minimum.reduce(list(left)))
    return highest


def _most_anywhere(passes: _Passes, coarse: _Passes, most: float) -> float:
    """The highest of evenly spaced places across all sections; ``most`` where none is higher.

    ``coarse``: the same passes with the ball looked at in fewer places, which leave no less: only
    where they leave more than ``most`` is it looked at in all of them.
    """
    every = np.linspace(*passes.faces, ACROSS)
    at_most = np.stack([_lowest_at(coarse, y) for y in every])
    for i in np.argsort(-at_most.max(axis=1)):
        over = np.flatnonzero(at_most[i] > most)
        most = max(most, float(np.max(_lowest_at(passes, every[i], over), initial=-np.inf)))
    return most


def _lowest_at(passes: _Passes, y: float, columns: Indices | None = None) -> Array:
    """(k,) how high all passes together leave each section, or each of ``columns``, at y."""
    every = np.arange(passes.wanted.shape[1]) if columns is None else columns
    rows, at = np.nonzero(passes.wanted[:, every] & passes.reaches(y, every))
    left = np.full((len(passes.wanted), len(every)), np.inf)
    left[rows, at] = passes.over(rows, every[at], np.full(rows.shape, y))
    return np.asarray(left.min(axis=0))


def _crests(passes: _Passes, rows: Indices, columns: Indices) -> Array:
    """(p,) y at which each of these passes and the next leave as much over a section."""
    low, high = passes.touches[rows, columns], passes.touches[rows + 1, columns]
    for _ in range(ROUNDS):
        y = (low + high) / 2
        first = passes.over(rows, columns, y) < passes.over(rows + 1, columns, y)
        low, high = np.where(first, y, low), np.where(first, high, y)
    return (low + high) / 2


class _Passes:
    """The passes of a table over some of its places, or over some between them.

    ``fine``: parts of a stride at which the ball is looked at, straight from place to place.
    """

    def __init__(
        self, table: ContactTable, touches: Array, places: Array | Indices, fine: int
    ) -> None:
        reach = math.ceil(table.sweep.tool.radius / table.stride)
        beside = np.arange(-reach * fine, reach * fine + 1) / fine
        around = np.clip(places[:, None] + beside, 0, len(table.xs) - 1)
        self._aside = 0.0 if table.steep is None else ASIDE
        self.sweep, self.radius = table.sweep, table.sweep.tool.radius
        nearest = np.rint(places).astype(int)
        self.x = table.xs[0] + table.stride * places
        self.touches, self.wanted = touches[:, nearest], table.wanted[:, nearest]
        self.faces = table.sweep.y_low, table.sweep.y_high
        self._along2 = (table.stride * beside) ** 2
        first = np.minimum(around.astype(int), len(table.xs) - 2)
        share = around - first
        self._y, self._tips = (
            each[:, first] * (1 - share) + each[:, first + 1] * share
            for each in (table.y, table.tips)
        )
        self._low, self._high = self._y.min(axis=-1), self._y.max(axis=-1)

    def reaches(self, y: float, columns: Indices) -> Bools:
        """Whether each pass comes near enough to y over these sections to cut there, (m, c)."""
        reach = self.radius + self._aside
        low, high = self._low[:, columns], self._high[:, columns]
        return np.asarray((low < y + reach) & (high > y - reach))

    def over(self, rows: Indices, columns: Indices, y: Array) -> Array:
        """How high over the surface each of these passes leaves it at y.

        Where its lines may run aside, as if it touched that much further away.
        """
        x = self.x[columns]
        y = y + self._aside * np.sign(y - self.touches[rows, columns])
        off2 = self._along2 + (y[..., None] - self._y[rows, columns]) ** 2
        room = self.radius**2 - off2
        left = self._tips[rows, columns] + self.radius - np.sqrt(np.maximum(room, 0.0))
        lowest = np.where(room > 0, left, np.inf).min(axis=-1)
        steep = np.maximum(*(np.abs(each) for each in self.sweep.surface.gradient(x, y)))
        return np.asarray(lowest - self.sweep.surface.height(x, y) - SIDE * steep)
