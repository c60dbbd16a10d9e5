"""The stock and what is left of it: a plain box, and a field of heights over its plan."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Stock:
    """A blank as a box in the frame it is given in, mm."""

    x0: float
    x1: float
    y0: float
    y1: float
    z0: float
    z1: float

    def on_face(self) -> Stock:
        """The same box as the machine sees it on face: Xm = x, Ym = z, Zm = -y."""
        return Stock(x0=self.x0, x1=self.x1, y0=self.z0, y1=self.z1, z0=-self.y1, z1=-self.y0)


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
        return cls(x, y, np.full((len(y), len(x)), stock.z1))

    def window(self, low: Floats, high: Floats) -> tuple[slice, slice]:
        """Rows and columns whose centres lie between low and high (x, y)."""
        return _span(self.y, low[1], high[1]), _span(self.x, low[0], high[0])


def _centres(low: float, high: float, step: float) -> Floats:
    count = max(1, round((high - low) / step))
    return low + (np.arange(count) + 0.5) * ((high - low) / count)


def _span(places: Floats, low: float, high: float) -> slice:
    if len(places) == 1:
        return slice(0, int(low <= places[0] <= high))
    step = places[1] - places[0]
    first = int(np.ceil((low - places[0]) / step - 1e-9))
    last = int(np.floor((high - places[0]) / step + 1e-9))
    return slice(min(max(first, 0), len(places)), min(max(last + 1, 0), len(places)))
