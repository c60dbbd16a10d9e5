r"""The lowest height a moving tool reaches over each place: closed forms, no stepping.

Let the tip go along a path q(s) in plan at height z(s), and let f(r) be the height of the tool's
surface over its tip at distance r from its axis. Over the place p the sweep cuts down to

    E(p) = min over s of  z(s) + f(|p - q(s)|).

**Straight path**, unit direction e, slope m = dz/ds. With u the place along e from the start, w
across it and v = s - u, we minimise g(v) = m v + f(sqrt(v² + w²)), convex in v because f is convex
and rising; so the minimum over the real path is the stationary v clamped to 0 <= u + v <= L.

- flat, radius R: f = 0, so v goes downhill to the rim: v = -sign(m) sqrt(R² - w²).
- ball: with rho² = R² - w², m + v / sqrt(rho² - v²) = 0 gives v = -m rho / sqrt(1 + m²).
- cone of slope k, |m| < k: m + k v / sqrt(v² + w²) = 0 gives v = -m |w| / sqrt(k² - m²), as long as
  that lies outside the flat or the ball's tangent circle; inside a flat it is the rim of the flat.
  For |m| >= k the tool goes down faster than its side: the stationary point is the outer rim.

**Level arc** (G17): f rises with r, so the nearest point of the arc decides: r = | |p - c| - A |
inside the arc's sector, else the nearer end.

**Upright arc** (G18, G19), radius A about (uc, zc), ball: at distance w across, the ball's section
is a disc of radius rho whose centre runs on the arc lifted by R. The disc touches the lower side of
its sweep along the arc's normal: on the lower half at radius A + rho, on the upper half at radius
A - rho (a minimum only where A > rho), each between the arc's end angles; else an end decides.
All candidates are heights the tool really reaches and the least of them is the minimum.
Flat: cut at the quarter points the arc is monotone in u; the lowest place within the rim is the
downhill limit s = clip(u -+ sqrt(R² - w²)).

Everything else (a helix; a cone on an upright arc) is a chain of chords no further than
``SAGITTA`` from it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from blankcam.replay.form import Form

Floats = NDArray[np.float64]
Point = tuple[float, float, float]

SAGITTA = 5e-5
"""mm; half a hundredth of the tightest limit."""


def line(form: Form, start: Point, end: Point, x: Floats, y: Floats) -> Floats:
    """Lowest heights over the grid x (nx,), y (ny,) of a straight move, (ny, nx), inf untouched."""
    dx, dy, dz = (b - a for a, b in zip(start, end, strict=True))
    run = math.hypot(dx, dy)
    if run < 1e-9:  # straight up or down, or not at all
        square = (x[None, :] - start[0]) ** 2 + (y[:, None] - start[1]) ** 2
        return min(start[2], end[2]) + form.heights(square)
    ex, ey = dx / run, dy / run
    px, py = x[None, :] - start[0], y[:, None] - start[1]
    if ey == 0.0:
        along, across = px * ex, py * ex
    elif ex == 0.0:
        along, across = py * ey, px * -ey
    else:
        along, across = px * ex + py * ey, py * ex - px * ey
    slope = dz / run
    s = np.clip(along + _stationary(form, slope, across), 0.0, run)
    square = (s - along) ** 2 + across**2
    return np.asarray(start[2] + slope * s + form.heights(square))


def _stationary(form: Form, m: float, w: Floats) -> Floats:
    """The v of the module's text for places at distance w across; 0 on the level."""
    if m == 0.0:
        return np.zeros_like(w)
    square = w**2
    rim = -math.copysign(1.0, m) * np.sqrt(np.maximum(form.radius**2 - square, 0.0))
    if form.ball:
        turn = m / math.sqrt(1 + m**2)
        v = -turn * np.sqrt(np.maximum(form.ball**2 - square, 0.0))
        inside = (square < form.tangent**2) & (v**2 + square <= form.tangent**2)
    else:
        v = -math.copysign(1.0, m) * np.sqrt(np.maximum(form.flat**2 - square, 0.0))
        inside = np.zeros(np.shape(w), dtype=bool)
    if not math.isfinite(form.slope):
        return v if form.ball else rim
    if abs(m) >= form.slope:
        return np.where(inside, v, rim)
    cone = -m * np.abs(w) / math.sqrt(form.slope**2 - m**2)
    if form.ball:
        return np.where(inside, v, cone)
    return np.where(cone**2 + square >= form.flat**2, cone, v)


def level_arc(form: Form, start: Point, end: Point, centre: tuple[float, float], ccw: bool,
              x: Floats, y: Floats) -> Floats:  # fmt: skip
    """Lowest heights of an arc at one height, (ny, nx)."""
    px, py = x[None, :] - centre[0], y[:, None] - centre[1]
    sx, sy = start[0] - centre[0], start[1] - centre[1]
    ex, ey = end[0] - centre[0], end[1] - centre[1]
    if not ccw:
        sx, sy, ex, ey = ex, ey, sx, sy
    after, before = sx * py - sy * px >= 0, px * ey - py * ex >= 0
    wide = sx * ey - sy * ex < 0
    within = after | before if wide else after & before
    off = (np.hypot(px, py) - math.hypot(sx, sy)) ** 2
    ends = np.minimum((px - sx) ** 2 + (py - sy) ** 2, (px - ex) ** 2 + (py - ey) ** 2)
    return start[2] + form.heights(np.where(within, off, ends))


def upright_ball(radius: float, start: tuple[float, float], end: tuple[float, float],
                 centre: tuple[float, float], ccw: bool, u: Floats, w: Floats) -> Floats:  # fmt: skip
    """Lowest heights of a ball on an arc in an upright plane, (nw, nu).

    ``start``, ``end`` and ``centre`` are (u, z) of the tip; ccw turns from u toward z.
    """
    rho_square = radius**2 - w[:, None] ** 2
    rho = np.sqrt(np.maximum(rho_square, 0.0))
    out = np.full((len(w), len(u)), np.inf)
    for at, z in (start, end):
        left = rho_square - (u[None, :] - at) ** 2
        stamp = z + radius - np.sqrt(np.maximum(left, 0.0))
        np.minimum(out, np.where(left >= 0, stamp, np.inf), out=out)
    du = u[None, :] - centre[0]
    reach = math.dist(start, centre)
    for low, high in _halves(start, end, centre, ccw):
        below = low < 0
        r = reach + rho if below else reach - rho
        left = r**2 - du**2
        lo, hi = sorted((math.cos(low), math.cos(high)))
        ok = (rho_square >= 0) & (left >= 0) & (r > 0) & (du >= lo * r) & (du <= hi * r)
        root = np.sqrt(np.maximum(left, 0.0))
        sheet = centre[1] + radius + (-root if below else root)
        np.minimum(out, np.where(ok, sheet, np.inf), out=out)
    return out


def upright_flat(radius: float, start: tuple[float, float], end: tuple[float, float],
                 centre: tuple[float, float], ccw: bool, u: Floats, w: Floats) -> Floats:  # fmt: skip
    """Lowest heights of a flat end on an arc in an upright plane, (nw, nu)."""
    rho_square = radius**2 - w[:, None] ** 2
    rho = np.sqrt(np.maximum(rho_square, 0.0))
    out = np.full((len(w), len(u)), np.inf)
    reach = math.dist(start, centre)
    for low, high in _halves(start, end, centre, ccw):
        for a, b in _quarters(low, high):
            ua, ub = sorted(centre[0] + reach * math.cos(t) for t in (a, b))
            falls_right = (math.cos(b) > math.cos(a)) == (math.sin(b) < math.sin(a))
            s = np.clip(u[None, :] + (rho if falls_right else -rho), ua, ub)
            rise = np.sqrt(np.maximum(reach**2 - (s - centre[0]) ** 2, 0.0))
            z = centre[1] + (rise if a + b > 0 else -rise)
            ok = (rho_square >= 0) & ((s - u[None, :]) ** 2 <= rho_square * (1 + 1e-12) + 1e-15)
            np.minimum(out, np.where(ok, z, np.inf), out=out)
    return out


def _halves(start: tuple[float, float], end: tuple[float, float], centre: tuple[float, float],
            ccw: bool) -> Iterator[tuple[float, float]]:  # fmt: skip
    """The arc's angles cut into parts of the lower (-pi..0) and the upper half (0..pi)."""
    if not ccw:
        start, end = end, start
    first = math.atan2(start[1] - centre[1], start[0] - centre[0])
    turn = (math.atan2(end[1] - centre[1], end[0] - centre[0]) - first) % math.tau
    for base in (-math.pi, 0.0, math.pi, math.tau):
        low, high = max(first, base), min(first + turn, base + math.pi)
        if high > low:
            shift = math.tau if base >= math.pi else 0.0
            yield low - shift, high - shift


def _quarters(low: float, high: float) -> Iterator[tuple[float, float]]:
    middle = -math.pi / 2 if low < 0 else math.pi / 2
    if low < middle < high:
        yield low, middle
        yield middle, high
    else:
        yield low, high


def chords(start: Point, end: Point, centre: Point, ccw: bool, axes: tuple[int, int, int]
           ) -> NDArray[np.float64]:  # fmt: skip
    """Points along any arc or helix, (n, 3), so close that no chord is off by ``SAGITTA``."""
    a, b, c = axes
    first = math.atan2(start[b] - centre[b], start[a] - centre[a])
    turn = (math.atan2(end[b] - centre[b], end[a] - centre[a]) - first) % math.tau
    turn = turn if ccw else turn - math.tau
    radius = math.hypot(start[a] - centre[a], start[b] - centre[b])
    step = 2 * math.acos(max(0.0, 1 - SAGITTA / radius))
    count = min(max(1, math.ceil(abs(turn) / step)), 20_000)
    t = np.linspace(0.0, 1.0, count + 1)
    out = np.empty((count + 1, 3))
    out[:, a] = centre[a] + radius * np.cos(first + turn * t)
    out[:, b] = centre[b] + radius * np.sin(first + turn * t)
    out[:, c] = start[c] + (end[c] - start[c]) * t
    out[0], out[-1] = start, end
    return out
