"""Curves along a part's length: the line of its top, the line of its ridge."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Protocol

import numpy as np

from blankcam.parts.curve import Array


class Curve(Protocol):
    """A smooth function of x."""

    def height(self, x: Array) -> Array:
        """Its value at each x, mm."""

    def slope(self, x: Array) -> Array:
        """Its derivative at each x."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ArcCurve:
    """The board's arc raised to a part: z(u) = z0 + k·u + sqrt(R² − u²) − R, u = x − middle.

    ``radius`` is infinite for a flat board.
    """

    z0: float
    k: float
    radius: float
    middle: float

    def height(self, x: Array) -> Array:
        """Z at each x, mm."""
        u = np.asarray(x, dtype=float) - self.middle
        return self.z0 + self.k * u + sagged(self.radius, u)

    def slope(self, x: Array) -> Array:
        """dz/dx at each x."""
        u = np.asarray(x, dtype=float) - self.middle
        if math.isinf(self.radius):
            return np.full_like(u, self.k)
        return self.k - u / np.sqrt(self.radius**2 - u**2)


@dataclass(frozen=True, slots=True, kw_only=True)
class RaisedCurve:
    """A curve so much higher."""

    base: Curve
    by: float

    def height(self, x: Array) -> Array:
        """Its value at each x, mm."""
        return np.asarray(self.base.height(x) + self.by)

    def slope(self, x: Array) -> Array:
        """Its derivative at each x."""
        return self.base.slope(x)


def sagged(radius: float, u: Array) -> Array:
    """sqrt(R² − u²) − R without the loss of digits, 0 for an infinite radius."""
    u = np.asarray(u, dtype=float)
    if math.isinf(radius):
        return np.zeros_like(u)
    return -(u**2) / (np.sqrt(radius**2 - u**2) + radius)


def fit_arc(x: Array, z: Array, radius: float, middle: float) -> ArcCurve:
    """The arc of that radius with the straight tilt that fits the points best, least squares."""
    u = np.asarray(x, dtype=float) - middle
    level = np.asarray(z, dtype=float) - sagged(radius, u)
    if len(u) < 2 or np.ptp(u) < 1e-9:
        return ArcCurve(z0=float(np.mean(level)), k=0.0, radius=radius, middle=middle)
    design = np.column_stack([np.ones_like(u), u])
    (z0, k), *_ = np.linalg.lstsq(design, level, rcond=None)
    return ArcCurve(z0=float(z0), k=float(k), radius=radius, middle=middle)


@dataclass(frozen=True, slots=True, kw_only=True)
class SmoothCurve:
    """Monotone cubic through points (Fritsch and Carlson, SIAM J. Numer. Anal. 17, 238, 1980).

    Beyond the outer points it goes on straight, or level where ``level_ends`` says so.
    """

    xs: tuple[float, ...]
    zs: tuple[float, ...]
    level_ends: bool = False

    def height(self, x: Array) -> Array:
        """Z at each x, mm."""
        t, (c0, c1, c2, c3) = self._piece(x)
        return np.asarray(((c3 * t + c2) * t + c1) * t + c0)

    def slope(self, x: Array) -> Array:
        """dz/dx at each x."""
        t, (_, c1, c2, c3) = self._piece(x)
        return np.asarray((3 * c3 * t + 2 * c2) * t + c1)

    def _piece(self, x: Array) -> tuple[Array, Array]:
        """How far each x lies past the start of its piece, and the piece's four coefficients."""
        knots, starts, pieces = _fitted(self)
        x = np.asarray(x, dtype=float)
        i = np.searchsorted(knots, x, side="right")
        return x - starts[i], pieces[:, i]


@lru_cache(maxsize=64)
def _fitted(curve: SmoothCurve) -> tuple[Array, Array, Array]:
    """A curve's knots, where its pieces start, and their coefficients, (4, n + 1).

    A piece lies before each knot and one behind the last. A curve is asked thousands of times.
    """
    x, z = np.array(curve.xs), np.array(curve.zs)
    d = _tangents(x, z, level_ends=curve.level_ends)
    h, rise = np.diff(x), np.diff(z) / np.diff(x)
    cubic = [
        z[:-1],
        d[:-1],
        (3 * rise - 2 * d[:-1] - d[1:]) / h,
        (d[:-1] + d[1:] - 2 * rise) / h**2,
    ]
    before, behind = [[z[0]], [d[0]], [0.0], [0.0]], [[z[-1]], [d[-1]], [0.0], [0.0]]
    return x, np.concatenate([x[:1], x]), np.hstack([before, np.stack(cubic), behind])


def _tangents(x: Array, z: Array, *, level_ends: bool) -> Array:
    h, rise = np.diff(x), np.diff(z) / np.diff(x)
    if len(h) == 1:
        return np.zeros(2) if level_ends else np.array([rise[0], rise[0]])
    d = np.zeros(len(x))
    w1, w2 = 2 * h[1:] + h[:-1], h[1:] + 2 * h[:-1]
    same = rise[:-1] * rise[1:] > 0
    low, high = np.where(same, rise[:-1], 1.0), np.where(same, rise[1:], 1.0)
    d[1:-1] = np.where(same, (w1 + w2) / (w1 / low + w2 / high), 0.0)
    if level_ends:
        return d
    d[0] = _end_tangent(h[0], h[1], rise[0], rise[1])
    d[-1] = _end_tangent(h[-1], h[-2], rise[-1], rise[-2])
    return d


def _end_tangent(h0: float, h1: float, rise0: float, rise1: float) -> float:
    """Three-point end slope, kept so that the curve does not overshoot."""
    d = ((2 * h0 + h1) * rise0 - h0 * rise1) / (h0 + h1)
    if d * rise0 <= 0:
        return 0.0
    if rise0 * rise1 <= 0 and abs(d) > 3 * abs(rise0):
        return 3 * rise0
    return d
