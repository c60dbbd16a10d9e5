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
  that lies outside the flat or the ball's tangent circle; inside a flat it is the rim of the flat,
  beyond R the outer rim.
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
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blankcam.replay.tool_profile import ToolProfile

Floats = NDArray[np.float64]
Point = tuple[float, float, float]

Plane = tuple[float, float]

SAGITTA = 5e-5
"""mm; half a hundredth of the tightest limit."""
CHORDS = 20_000
"""At most; enough for a full turn of 1 km radius."""


@dataclass(frozen=True, slots=True)
class PlaneArc:
    """An arc in the two axes of its plane; ``ccw`` from the first axis toward the second."""

    start: Plane
    end: Plane
    centre: Plane
    ccw: bool

    @property
    def radius(self) -> float:
        """Distance of the start from the centre."""
        return math.dist(self.start, self.centre)

    def angles(self) -> tuple[float, float]:
        """Angle of the end it turns counter-clockwise from, and the angle turned, positive."""
        start, end = (self.start, self.end) if self.ccw else (self.end, self.start)
        first = math.atan2(start[1] - self.centre[1], start[0] - self.centre[0])
        last = math.atan2(end[1] - self.centre[1], end[0] - self.centre[0])
        return first, (last - first) % math.tau

    def swapped(self) -> PlaneArc:
        """The same arc with its axes named the other way round."""
        (a0, b0), (a1, b1), (a2, b2) = self.start, self.end, self.centre
        return PlaneArc((b0, a0), (b1, a1), (b2, a2), not self.ccw)

    def upside_down(self) -> PlaneArc:
        """The same arc with its second axis turned round."""
        (a0, b0), (a1, b1), (a2, b2) = self.start, self.end, self.centre
        return PlaneArc((a0, -b0), (a1, -b1), (a2, -b2), not self.ccw)

    def lowered(self, by: float) -> PlaneArc:
        """The same arc, less along its second axis."""
        (a0, b0), (a1, b1), (a2, b2) = self.start, self.end, self.centre
        return PlaneArc((a0, b0 - by), (a1, b1 - by), (a2, b2 - by), self.ccw)


def line_envelope(form: ToolProfile, start: Point, end: Point, x: Floats, y: Floats) -> Floats:
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
    s = np.minimum(np.maximum(along + _stationary(form, slope, across), 0.0), run)
    out = form.heights((s - along) ** 2 + across**2)
    out += start[2] + slope * s if slope else start[2]
    return out


def _stationary(form: ToolProfile, m: float, w: Floats) -> Floats | float:
    """The v of the module's text for places at distance w across; 0 on the level."""
    if m == 0.0:
        return 0.0
    square, downhill = w**2, -math.copysign(1.0, m)
    if form.ball:
        turn = m / math.sqrt(1 + m**2)
        v = -turn * np.sqrt(np.maximum(form.ball**2 - square, 0.0))
        if not math.isfinite(form.slope):
            return v
        inside = (square < form.tangent**2) & (v**2 + square <= form.tangent**2)
    rim = downhill * np.sqrt(np.maximum(form.radius**2 - square, 0.0))
    if abs(m) >= form.slope:
        return np.where(inside, v, rim) if form.ball else rim
    if not math.isfinite(form.slope):
        return rim
    cone = -m * np.abs(w) / math.sqrt(form.slope**2 - m**2)
    cone = np.where(np.abs(cone) < np.abs(rim), cone, rim)
    if form.ball:
        return np.where(inside, v, cone)
    flat = downhill * np.sqrt(np.maximum(form.flat**2 - square, 0.0))
    return np.where(cone**2 + square >= form.flat**2, cone, flat)


def level_arc_envelope(
    form: ToolProfile, turn: PlaneArc, height: float, x: Floats, y: Floats
) -> Floats:
    """Lowest heights of an arc in plan at one height of the tip, (ny, nx)."""
    px, py = x[None, :] - turn.centre[0], y[:, None] - turn.centre[1]
    first, last = (turn.start, turn.end) if turn.ccw else (turn.end, turn.start)
    sx, sy = first[0] - turn.centre[0], first[1] - turn.centre[1]
    ex, ey = last[0] - turn.centre[0], last[1] - turn.centre[1]
    after, before = sx * py - sy * px >= 0, px * ey - py * ex >= 0
    within = after | before if turn.angles()[1] > math.pi else after & before
    off = (np.hypot(px, py) - turn.radius) ** 2
    ends = np.minimum((px - sx) ** 2 + (py - sy) ** 2, (px - ex) ** 2 + (py - ey) ** 2)
    return height + form.heights(np.where(within, off, ends))


def upright_ball_envelope(radius: float, turn: PlaneArc, u: Floats, w: Floats) -> Floats:
    """Lowest heights of a ball on an arc in an upright plane, (nw, nu).

    The turn is in (u, z) of the tip; ``w`` is measured from its plane; both rise.
    """
    rho_square = radius**2 - w[:, None] ** 2
    rho = np.sqrt(np.maximum(rho_square, 0.0))
    out = np.full((len(w), len(u)), np.inf)
    for at, z in (turn.start, turn.end):
        part = slice(*np.searchsorted(u, (at - radius, at + radius)).tolist())
        left = rho_square - (u[None, part] - at) ** 2
        stamp = z + radius - np.sqrt(np.maximum(left, 0.0))
        np.minimum(out[:, part], np.where(left >= 0, stamp, np.inf), out=out[:, part])
    for low, high in _halves(turn):
        r = turn.radius + (rho if low < 0 else -rho)
        lo, hi = sorted((math.cos(low), math.cos(high)))
        _sheet(out, u - turn.centre[0], r, (lo, hi), (turn.centre[1] + radius, low < 0))
    out[rho_square[:, 0] < 0] = np.inf
    return out


def _sheet(out: Floats, du: Floats, r: Floats, cosines: Plane, level: tuple[float, bool]) -> None:
    """Lower ``out`` (nw, nu) by circles of radii r (nw, 1) about du = 0, between two cosines.

    ``level`` is the height of their centre and whether the lower half is meant. Only at the ends
    does it hang on the row whether a place lies between them.
    """
    lo, hi = cosines[0] * r, cosines[1] * r
    first, a, b, last = np.searchsorted(du, (lo.min(), lo.max(), hi.min(), hi.max())).tolist()
    if not (r > 0).all() or a >= b:
        a = b = last = max(last, b)
    for begin, end, whole in ((first, a, False), (a, b, True), (b, last, False)):
        part = slice(begin, end)
        rise = np.subtract(r**2, du[None, part] ** 2)
        np.sqrt(np.maximum(rise, 0.0, out=rise), out=rise)
        np.subtract(level[0], rise, out=rise) if level[1] else np.add(level[0], rise, out=rise)
        if not whole:
            inside = (r > 0) & (du[None, part] >= lo) & (du[None, part] <= hi)
            rise = np.where(inside, rise, np.inf)
        np.minimum(out[:, part], rise, out=out[:, part])


def lowest_on_arc(turn: PlaneArc, low: float, high: float) -> float:
    """Lowest second coordinate of an arc while its first lies between low and high; inf
    if never.
    """
    found = [math.inf]
    for a, b in _halves(turn):
        ends = sorted(turn.centre[0] + turn.radius * math.cos(t) for t in (a, b))
        near, far = max(ends[0], low), min(ends[1], high)
        if near > far:
            continue
        places = [near, far, turn.centre[0]] if near < turn.centre[0] < far else [near, far]
        sign = -1.0 if a < 0 else 1.0
        for at in places:
            rise = math.sqrt(max(turn.radius**2 - (at - turn.centre[0]) ** 2, 0.0))
            found.append(turn.centre[1] + sign * rise)
    return min(found)


def upright_flat_envelope(radius: float, turn: PlaneArc, u: Floats, w: Floats) -> Floats:
    """Lowest heights of a flat end on an arc in an upright plane, (nw, nu); as upright_ball."""
    rho_square = radius**2 - w[:, None] ** 2
    rho = np.sqrt(np.maximum(rho_square, 0.0))
    out = np.full((len(w), len(u)), np.inf)
    middle, arm = turn.centre[0], turn.radius
    for low, high in _halves(turn):
        for a, b in _quarters(low, high):
            ua, ub = sorted(middle + arm * math.cos(t) for t in (a, b))
            falls_right = (math.cos(b) > math.cos(a)) == (math.sin(b) < math.sin(a))
            s = np.clip(u[None, :] + (rho if falls_right else -rho), ua, ub)
            rise = np.sqrt(np.maximum(arm**2 - (s - middle) ** 2, 0.0))
            z = turn.centre[1] + (rise if a + b > 0 else -rise)
            ok = (rho_square >= 0) & ((s - u[None, :]) ** 2 <= rho_square * (1 + 1e-12) + 1e-15)
            np.minimum(out, np.where(ok, z, np.inf), out=out)
    return out


def _halves(turn: PlaneArc) -> Iterator[tuple[float, float]]:
    """The arc's angles cut into parts of the lower (-pi..0) and the upper half (0..pi)."""
    first, turned = turn.angles()
    for base in (-math.pi, 0.0, math.pi, math.tau):
        low, high = max(first, base), min(first + turned, base + math.pi)
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


def arc_points(turn: PlaneArc, rise: Plane, axes: tuple[int, int, int]) -> Floats:
    """Points along any arc or helix, (n, 3), so close that no chord is off by ``SAGITTA``.

    ``rise`` is where the normal axis begins and ends; ``axes`` are the plane's two and the normal.
    """
    a, b, c = axes
    first, turned = turn.angles()
    if not turn.ccw:
        first, turned = first + turned, -turned
    step = 2 * math.acos(max(0.0, 1 - SAGITTA / turn.radius))
    count = min(max(1, math.ceil(abs(turned) / step)), CHORDS)
    t = np.linspace(0.0, 1.0, count + 1)
    out = np.empty((count + 1, 3))
    out[:, a] = turn.centre[0] + turn.radius * np.cos(first + turned * t)
    out[:, b] = turn.centre[1] + turn.radius * np.sin(first + turned * t)
    out[:, c] = rise[0] + (rise[1] - rise[0]) * t
    out[0, [a, b]], out[-1, [a, b]] = turn.start, turn.end
    return out
