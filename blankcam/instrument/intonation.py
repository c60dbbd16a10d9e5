"""The fretted-string model: how far each fret sounds off, and the compensation that makes it least.

Source [AB]: M.B. Anderson and R.G. Beausoleil, J. Acoust. Soc. Am. 156(1) 683 (2024), read as the
authors' manuscript. A string pressed to a fret gets longer, pulls harder and bends stiffer; the
model adds up those shares for a string pinned at the saddle and clamped at the fret. With a finger
10 mm behind the fret it meets the ranges measured on the guitar there within 0.15 cent; with 0 mm
it gives 3.4 to 4.2 cents at fret 1 where 4.5 to 5.75 were measured. In a blind test listeners heard
no difference between straight and individual compensation: its tenths of a cent are for comparing
ridges, not for promising a sound.

Signs: a compensation ``dS`` > 0 moves the ridge away from the nut, an offset ``dN`` < 0 moves the
nut's front edge toward the saddle. All parameters broadcast; the frets come last in what is
returned.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

Values: TypeAlias = float | NDArray[np.float64]
Array: TypeAlias = NDArray[np.float64]

FRETS = 12
_CURVATURE = (
    1 + np.pi**2 / 2
)  # of the stiff-string series, pinned at one end and clamped at the other
_NUT_STEP = 1e-4  # mm: short enough that a nut far out of place bends its slope by nothing
_RIDGE_STEP = 1e-3  # mm: bends far less, far from any finger, and is less lost in rounding
_ROUNDS = 200  # real strings settle in about 5; far-off ones, with large errors left, go slowly
_SETTLED = 1e-6  # mm; a nanometre, and above the noise of the slopes by differences


@dataclass(frozen=True, slots=True, kw_only=True)
class FrettedString:
    """What the model needs of one string, or of many at once where the fields are arrays."""

    scale: Values
    """X0: nominal speaking length, mm."""
    lift: Values
    """b: underside at the nut over the line of the fret tops, mm."""
    rise: Values
    """c: how much higher the string is at the saddle than at the nut, mm."""
    radius: Values
    """rho: radius of what bends, mm."""
    stiffness: Values
    """kappa = E A / T."""
    finger: Values = 0.0
    """d: how far behind the fret the finger breaks the string, mm; 0 is on the fret."""
    relief: Values = 0.0
    """Drop of the board at fret 12 under the straight line of the frets, mm."""


def _last(value: Values) -> Array:
    return np.asarray(value, dtype=np.float64)[..., np.newaxis]


def bending(string: FrettedString) -> Array:
    """B0 = sqrt(kappa) rho / (2 X0), Morse's stiffness parameter of the open string."""
    root = np.sqrt(np.asarray(string.stiffness, dtype=np.float64))
    result: Array = root * string.radius / (2 * np.asarray(string.scale))
    return result


def stretch(string: FrettedString, dS: Values = 0.0, dN: Values = 0.0) -> Array:
    """Q_n: how much longer, as a fraction, fretting makes the string; shape (..., 12).

    Relief lowers the frets under a string whose ends stand still, which is a saddle higher by twice
    the drop at fret 12, for both of the lengths compared.
    """
    X0, b, d = _last(string.scale), _last(string.lift), _last(string.finger)
    c = _last(string.rise) + 2 * _last(string.relief)
    back, head = _last(dS), _last(dN)
    X = X0 / _ratios()
    open_ = np.hypot(X0 + back + head, c)
    front = np.hypot(X + back, b + c)
    behind = d * front / (X + back) + np.hypot(X0 - X + head - d, b + d * (b + c) / (X + back))
    result: Array = (front + behind - open_) / open_
    return result


def clamped_rise(B: Values) -> Array:
    """What stiffness does to the fundamental, pinned at one end, clamped at the other, as a factor.

    The series to the second order in B; good to 8e-6 (0.013 cent) at B = 0.01.
    """
    return np.asarray(1 + B + _CURVATURE * np.square(B), dtype=np.float64)


def _ratios() -> Array:
    result: Array = 2.0 ** (np.arange(1, FRETS + 1) / 12)
    return result


def cents(string: FrettedString, dS: Values = 0.0, dN: Values = 0.0) -> Array:
    """Error of frets 1 to 12 in cents, positive sharp, open string in tune; shape (..., 12)."""
    X0, b, c, kappa = (_last(v) for v in (string.scale, string.lift, string.rise, string.stiffness))
    g = _ratios()
    open_ = np.hypot(X0 + _last(dS) + _last(dN), c)
    front = np.hypot(X0 / g + _last(dS), b + c)
    Q = stretch(string, dS, dN)
    pull = 1 + kappa * Q
    B0 = bending(string)[..., np.newaxis]
    B = B0 * open_ / front / np.sqrt(pull)
    stiff = clamped_rise(B) / clamped_rise(B0)
    result: Array = (
        1200 * np.log2(open_ / (g * front)) + 600 * np.log2((1 + Q) * pull) + 1200 * np.log2(stiff)
    )
    return result


def analytic_compensation(string: FrettedString) -> tuple[Array, Array]:
    """[AB]'s linear least squares (finger on the fret, no relief): ``dS`` and ``dN`` in mm."""
    X0, b, c, kappa = (
        np.asarray(v, dtype=np.float64)
        for v in (string.scale, string.lift, string.rise, string.stiffness)
    )
    B0 = bending(string)
    dS = (B0 + 1.5 * (1 + np.pi**2) * B0**2) * X0 + kappa * (-9.848 * b**2 + 2 * b * c + c**2) / (
        4 * X0
    )
    dN = B0**2 * X0 - kappa * (5.633 * b**2 + b * c) / (2 * X0)
    return dS, dN


def _slope(string: FrettedString, dS: Array, dN: Array, *, of_nut: bool) -> Array:
    """Central difference of the cents, per mm of ridge or of nut; shape (..., 12)."""
    s, n = (0.0, _NUT_STEP) if of_nut else (_RIDGE_STEP, 0.0)
    result: Array = (cents(string, dS + s, dN + n) - cents(string, dS - s, dN - n)) / (2 * (s + n))
    return result


def saddle_compensation(
    string: FrettedString, dN: Values = 0.0, start: Values | None = None
) -> Array:
    """The ``dS`` in mm that makes the sum of the squares of the 12 errors least, the nut as it is.

    Gauss-Newton on the exact expression, from ``start`` or the linear solution for the saddle.
    """
    first = analytic_compensation(string)[0] if start is None else start
    head = np.asarray(dN, dtype=np.float64)
    dS = np.broadcast_arrays(first, head)[0].astype(np.float64)
    for _ in range(_ROUNDS):
        slope = _slope(string, dS, head, of_nut=False)
        step = (slope * cents(string, dS, head)).sum(-1) / (slope**2).sum(-1)
        dS = dS - step
        if np.max(np.abs(step), initial=0.0) < _SETTLED:
            break
    return dS


def nut_compensation(string: FrettedString, dS: Values = 0.0) -> Array:
    """The ``dN`` in mm that makes the sum of the squares of the errors least, the ridge
    as it is.
    """
    back = np.asarray(dS, dtype=np.float64)
    dN = np.zeros(np.broadcast(back, bending(string)).shape)
    for _ in range(_ROUNDS):
        slope = _slope(string, back, dN, of_nut=True)
        step = (slope * cents(string, back, dN)).sum(-1) / (slope**2).sum(-1)
        dN = dN - step
        if np.max(np.abs(step), initial=0.0) < _SETTLED:
            break
    return dN


def saddle_and_nut_compensation(string: FrettedString) -> tuple[Array, Array]:
    """The ``dS`` and ``dN`` in mm that together make the sum of the squares least."""
    dS, dN = analytic_compensation(string)
    for _ in range(_ROUNDS):
        e = cents(string, dS, dN)
        js, jn = (_slope(string, dS, dN, of_nut=nut) for nut in (False, True))
        ss, sn, nn = (js * js).sum(-1), (js * jn).sum(-1), (jn * jn).sum(-1)
        es, en = (js * e).sum(-1), (jn * e).sum(-1)
        whole = ss * nn - sn * sn
        step_s, step_n = (nn * es - sn * en) / whole, (ss * en - sn * es) / whole
        dS, dN = dS - step_s, dN - step_n
        if np.max(np.abs([step_s, step_n]), initial=0.0) < _SETTLED:
            break
    return dS, dN
