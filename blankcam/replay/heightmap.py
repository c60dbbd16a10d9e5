"""The stock as cut: heights over its plan."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blankcam.parts.frames import Box

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

CLOSE = 1e-11
"""mm; a centre this close outside a bound still counts as inside."""


@dataclass(frozen=True, slots=True)
class Heightmap:
    """Heights ``z`` (ny, nx) over the rising places ``x`` (nx,) and ``y`` (ny,).

    ``z`` is lowered in place by the replay. A height belongs to the centre of its cell and is exact
    there, whatever the spacing, which need not be even.
    """

    x: Floats
    y: Floats
    z: Floats

    @classmethod
    def of(cls, stock: Box, dx: float, dy: float) -> Heightmap:
        """A full blank in cells of about dx by dy."""
        x, y = _centres(stock.x0, stock.x1, dx), _centres(stock.y0, stock.y1, dy)
        return cls(x, y, np.full((len(y), len(x)), float(stock.z1)))

    def window(self, low: Floats, high: Floats) -> tuple[slice, slice]:
        """Rows and columns whose centres lie between low and high (x, y)."""
        return _span(self.y, low[1], high[1]), _span(self.x, low[0], high[0])

    def columns(self, low: Floats, high: Floats) -> tuple[Ints, Ints]:
        """First column between each low and high (n,), and the one after the last."""
        return _spans(self.x, low, high)

    def rows(self, low: Floats, high: Floats) -> tuple[Ints, Ints]:
        """First row between each low and high (n,), and the one after the last."""
        return _spans(self.y, low, high)


def _centres(low: float, high: float, step: float) -> Floats:
    count = max(1, round((high - low) / step))
    return np.asarray(low + (np.arange(count) + 0.5) * ((high - low) / count), dtype=np.float64)


def _span(places: Floats, low: float, high: float) -> slice:
    first = int(places.searchsorted(low - CLOSE))
    return slice(first, max(first, int(places.searchsorted(high + CLOSE, "right"))))


def _spans(places: Floats, low: Floats, high: Floats) -> tuple[Ints, Ints]:
    first = places.searchsorted(low - CLOSE)
    return first, np.maximum(places.searchsorted(high + CLOSE, "right"), first)
