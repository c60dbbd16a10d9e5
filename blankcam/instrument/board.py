"""The fretboard as a surface: wood, frets, relief. Frames as in DEVELOPERS.md.

Instrument frame: u across (right, seen from the front), s from the nut's front edge toward the
bridge, z out of the face, 0 on the wood at the centre line.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Board:
    """A cylinder, a cone or a plane of wood with frets and a slight bow."""

    scale: float
    width_at_nut: float
    radius_at_nut: float
    radius_slope: float
    """Change of the radius along s, mm a mm; 0 for a cylinder."""
    fret_height: float
    relief: float
    body_fret: int

    def fret_at(self, n: ArrayLike) -> Array:
        """Distance of fret n from the front edge: L(1 − 2^(−n/12)), equal temperament."""
        return np.asarray(self.scale * (1 - 2.0 ** (-np.asarray(n, dtype=float) / 12)))

    def radius(self, s: float) -> float:
        """R(s), linear and carried on to the saddle; infinite for a flat board."""
        return self.radius_at_nut + self.radius_slope * s

    def wood(self, s: ArrayLike, u: ArrayLike) -> Array:
        """Height of the wood: sqrt(R² − u²) − R, written so that no digits are lost."""
        u = np.asarray(u, dtype=float)
        if math.isinf(self.radius_at_nut):
            return np.zeros(np.broadcast(np.asarray(s), u).shape)
        r = self.radius_at_nut + self.radius_slope * np.asarray(s, dtype=float)
        return np.asarray(-(u**2) / (np.sqrt(r**2 - u**2) + r))

    def dip(self, s: ArrayLike) -> Array:
        """How far relief lowers the board: a parabola from fret 1 to the body, 0 outside."""
        first, body = self.fret_at(1), self.fret_at(self.body_fret)
        t = np.clip((np.asarray(s, dtype=float) - first) / (body - first), 0.0, 1.0)
        return np.asarray(4 * self.relief * t * (1 - t))

    def fret_top(self, s: ArrayLike, u: ArrayLike) -> Array:
        """Height of the frets' tops, as if a fret stood at every s."""
        return self.wood(s, u) + self.fret_height - self.dip(s)
