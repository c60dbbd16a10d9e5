"""What is left of the stock: a field of heights over its plan."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blankcam.replay.stock import Stock

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Field:
    """Heights ``z`` (ny, nx) over the evenly spaced places ``x`` (nx,) and ``y`` (ny,).

    ``z`` is lowered in place by the sweep; all else stays. A cell is worth its centre: what the
    sweep finds there is exact, whatever the spacing.
    """

    x: Floats
    y: Floats
    z: Floats

    @classmethod
    def of(cls, stock: Stock, dx: float, dy: float) -> Field:
        """A full blank in cells of about dx by dy."""
        x, y = _centres(stock.x0, stock.x1, dx), _centres(stock.y0, stock.y1, dy)
        return cls(x, y, np.full((len(y), len(x)), float(stock.z1)))

    def window(self, low: Floats, high: Floats) -> tuple[slice, slice]:
        """Rows and columns whose centres lie between low and high (x, y)."""
        return _span(self.y, low[1], high[1]), _span(self.x, low[0], high[0])

    @property
    def step_y(self) -> float:
        """Spacing of the rows, mm; inf with one row."""
        return float(self.y[1] - self.y[0]) if len(self.y) > 1 else math.inf

    def columns(self, low: Floats, high: Floats) -> tuple[Ints, Ints]:
        """First column and number of columns with their centres between each low and high (n,)."""
        step = self.x[1] - self.x[0] if len(self.x) > 1 else 1.0
        low = np.nan_to_num(low, nan=np.inf)
        low = np.clip(low, self.x[0] - step, self.x[-1] + step)
        high = np.clip(np.nan_to_num(high, nan=-np.inf), self.x[0] - step, self.x[-1] + step)
        first = np.ceil((low - self.x[0]) / step - 1e-9).astype(np.int64)
        last = np.floor((high - self.x[0]) / step + 1e-9).astype(np.int64)
        first = np.clip(first, 0, len(self.x))
        return first, np.maximum(np.clip(last + 1, 0, len(self.x)) - first, 0)


def _centres(low: float, high: float, step: float) -> Floats:
    count = max(1, round((high - low) / step))
    return np.asarray(low + (np.arange(count) + 0.5) * ((high - low) / count), dtype=np.float64)


def _span(places: Floats, low: float, high: float) -> slice:
    if len(places) == 1:
        return slice(0, int(low <= places[0] <= high))
    step = places[1] - places[0]
    low, high = max(low, places[0] - step), min(high, places[-1] + step)
    first = int(np.ceil((low - places[0]) / step - 1e-9))
    last = int(np.floor((high - places[0]) / step + 1e-9))
    return slice(min(max(first, 0), len(places)), min(max(last + 1, 0), len(places)))
