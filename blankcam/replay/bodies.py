"""Which cells of a plan hang together: bodies of a coarse solid, found by runs of cells."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]


def label_bodies(solid: Bools) -> tuple[Ints, int]:
    """Cells (ny, nx) numbered from 1 by the body they are part of, 0 where empty; and how many.

    Cells hang together by their sides, not by their corners.
    """
    # Most rows are as the row before, and most columns: one of each alike tells of all
    rows, columns = _unlike(solid), _unlike(solid.T)
    labels, count = _labelled(solid[rows][:, columns])
    at_row, at_column = np.cumsum(rows) - 1, np.cumsum(columns) - 1
    return labels[at_row[:, None], at_column], count


def _unlike(rows: Bools) -> Bools:
    """Whether each row is other than the row before."""
    unlike = np.ones(len(rows), dtype=bool)
    unlike[1:] = (rows[1:] != rows[:-1]).any(axis=1)
    return unlike


def _labelled(solid: Bools) -> tuple[Ints, int]:
    """The same by runs of cells in each row, which many rows alike make slow."""
    edges = np.diff(np.pad(solid.astype(np.int8), ((0, 0), (1, 1))), axis=1)
    rows, first = np.nonzero(edges == 1)
    last = np.nonzero(edges == -1)[1]
    parent = _joined(rows.tolist(), first.tolist(), last.tolist())
    names = {root: n for n, root in enumerate(dict.fromkeys(parent), start=1)}
    number = np.array([names[root] for root in parent], dtype=np.int64)
    labels = np.zeros(solid.shape, dtype=np.int64)
    labels[solid] = np.repeat(number, last - first)
    return labels, len(names)


def _joined(rows: list[int], first: list[int], last: list[int]) -> list[int]:
    """The first run of each run's body, runs being in order of their rows."""
    parent = list(range(len(rows)))

    def root(i: int) -> int:
        while parent[i] != i:
            parent[i] = parent[parent[i]]
            i = parent[i]
        return i

    above = 0
    for i in range(len(rows)):
        while rows[above] < rows[i] - 1 or (rows[above] == rows[i] - 1 and last[above] <= first[i]):
            above += 1
        at = above
        while rows[at] == rows[i] - 1 and first[at] < last[i]:
            a, b = root(at), root(i)
            parent[max(a, b)] = min(a, b)
            at += 1
    return [root(i) for i in range(len(rows))]


def opened(solid: Bools, rows: int, columns: int) -> Bools:
    """The cells that a solid rectangle of so many rows and columns covers somewhere."""
    full = _counts(solid, rows, columns) == rows * columns
    beside = ((rows - 1, rows - 1), (columns - 1, columns - 1))
    return np.asarray(_counts(np.pad(full, beside), rows, columns) > 0)


def _counts(solid: Bools, rows: int, columns: int) -> Ints:
    """How many cells of each whole rectangle are solid, by its first row and column."""
    total = np.pad(solid.astype(np.int64).cumsum(axis=0).cumsum(axis=1), ((1, 0), (1, 0)))
    tall = total[rows:] - total[:-rows]
    return np.asarray(tall[:, columns:] - tall[:, :-columns])
