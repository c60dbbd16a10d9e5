"""The part that is left against the part that is wanted, over its whole plan and slot by slot."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from blankcam.data import table
from blankcam.parts.frames import Box
from blankcam.parts.part import Stage
from blankcam.replay.heightmap import Field

Floats = NDArray[np.float64]


class SlotLike(Protocol):
    """What the proof needs of a slot: a round groove laid along a falling floor line."""

    @property
    def string(self) -> int: ...  # noqa: D102
    @property
    def centre(self) -> float: ...  # noqa: D102
    @property
    def width(self) -> float: ...  # noqa: D102
    @property
    def floor_front(self) -> float: ...  # noqa: D102
    @property
    def tilt(self) -> float: ...  # noqa: D102
    @property
    def yaw(self) -> float: ...  # noqa: D102


class TopLike(Protocol):
    """The top's line over x, slots aside."""

    def height(self, x: Floats) -> Floats:
        """Height of the finished top at each x, mm."""
        ...


class PartLike(Protocol):
    """What the proof needs of a part; a nut has ``slots`` and ``hold_back`` besides."""

    @property
    def name(self) -> str: ...  # noqa: D102
    @property
    def length(self) -> float: ...  # noqa: D102
    @property
    def thickness(self) -> float: ...  # noqa: D102
    @property
    def allowance(self) -> float: ...  # noqa: D102
    @property
    def top(self) -> TopLike: ...  # noqa: D102
    def lower(self, x: Any, y: Any, stage: Stage) -> Floats:
        """Nothing may be cut below this, -inf outside the plan."""
        ...

    def upper(self, x: Any, y: Any, stage: Stage, milled: frozenset[int]) -> Floats:
        """Nothing may be left above this, +inf outside the plan."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class SlotProof:
    """One milled slot as replayed; micrometres, worst over the slot's length, signed."""

    string: int
    floor_um: float
    """Floor over where the stage wants it, positive is too high."""
    centre_um: float
    """Middle of the walls, positive is too far to the right."""
    width_um: float
    """Between the walls, positive is too wide."""
    at: tuple[float, float, float]
    """Where the floor is worst, mm."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Worst:
    """The greatest difference found and where, mm."""

    amount: float
    at: tuple[float, float, float]


Height = Callable[[Floats, Floats], Floats]


def beyond(fields: Sequence[Field], height: Height, sign: float, limit: float, side: float
           ) -> Worst:  # fmt: skip
    """The most the fields stand over (sign +1) or under (-1) a height, at least 0.

    Where that is more than ``limit``, the height is also tried ``side`` away along x and y, and
    the least difference counts: beside an upright wall no height can be compared.
    """
    worst = Worst(amount=0.0, at=(0.0, 0.0, 0.0))
    for field in fields:
        off = _difference(field.z, height(field.x[None, :], field.y[:, None]), sign)
        rows, columns = np.nonzero(off > limit)
        x, y, z = field.x[columns], field.y[rows], field.z[rows, columns]
        kept = off[rows, columns]
        for dx, dy in ((side, 0.0), (-side, 0.0), (0.0, side), (0.0, -side)):
            kept = np.minimum(kept, _difference(z, height(x + dx, y + dy), sign))
        off[rows, columns] = kept
        if off.size and (most := float(off.max())) > worst.amount:
            row, column = divmod(int(off.argmax()), len(field.x))
            at = (float(field.x[column]), float(field.y[row]), float(field.z[row, column]))
            worst = Worst(amount=most, at=at)
    return worst


def _difference(z: Floats, wanted: Floats, sign: float) -> Floats:
    """``sign * (z - wanted)``, -inf where nothing is wanted, nothing left counts as at -1e3."""
    off = sign * (np.maximum(z, -1e3) - wanted)
    return np.where(np.isfinite(wanted), off, -np.inf)


@dataclass(frozen=True, slots=True)
class Probes:
    """Fine lines along x over each milled slot, by its string, and over both ends."""

    slots: dict[int, Field]
    ends: tuple[Field, Field]
    lanes: tuple[Field, ...]
    """The same heights again, side by side in as few fields as there can be: for the replay."""


def probes(part: PartLike, stock: Box, milled: frozenset[int]) -> Probes:
    """Full probes of a blank."""
    cells = table("proof")["cells"]
    step, side, stations = cells["probe"], cells["probe_side"], cells["stations"]
    y = np.linspace(0.0, part.thickness, stations)
    y[[0, -1]] += np.array((1.0, -1.0)) * cells["probe_face"]
    runs: list[tuple[float, float]] = []
    strings = [s.string for s in slots_of(part) if s.string in milled]
    for slot in (s for s in slots_of(part) if s.string in milled):
        axis = axis_of(slot, y)
        half = slot.width / 2 / math.cos(slot.yaw) + side
        runs.append((float(axis.min()) - half, float(axis.max()) + half))
    runs += [(end - side, end + side) for end in (0.0, part.length)]
    x = [np.arange(low, high + step / 2, step) for low, high in runs]
    lanes: list[Field] = []
    views: dict[int, Field] = {}
    for some in _side_by_side(x):
        lane = _full(np.concatenate([x[i] for i in some]), y, stock)
        at = np.cumsum([0, *(len(x[i]) for i in some)]).tolist()
        for i, (a, b) in zip(some, pairwise(at), strict=True):
            views[i] = Field(lane.x[a:b], y, lane.z[:, a:b])
        lanes.append(lane)
    slots = {string: views[i] for i, string in enumerate(strings)}
    return Probes(slots, (views[len(x) - 2], views[len(x) - 1]), tuple(lanes))


def _side_by_side(x: Sequence[Floats]) -> list[list[int]]:
    """Which of the rising places go one after the other without overlap, in as few rows."""
    rows: list[list[int]] = []
    for i in sorted(range(len(x)), key=lambda i: float(x[i][0])):
        free = (r for r in rows if x[r[-1]][-1] < x[i][0])
        row = next(free, None)
        if row is None:
            rows.append([i])
        else:
            row.append(i)
    return rows


def _full(x: Floats, y: Floats, stock: Box) -> Field:
    z = np.where((x >= stock.x0) & (x <= stock.x1), stock.z1, -np.inf)
    return Field(x, y, np.repeat(z[None, :], len(y), axis=0))


def slots_of(part: PartLike) -> tuple[SlotLike, ...]:
    """The part's slots, none for a saddle."""
    found: tuple[SlotLike, ...] = getattr(part, "slots", ())
    return found


def axis_of(slot: SlotLike, y: Floats) -> Floats:
    """Place x of the slot's middle over y."""
    return slot.centre + math.tan(slot.yaw) * y


def measure(field: Field, slot: SlotLike, part: PartLike, stage: Stage) -> SlotProof:
    """Floor, centre and width of a slot from its probe lines.

    The width is taken between the walls, at the height of the round floor or at 0.9 of the
    slot's depth where that is less, and compared with the groove's own width at that height. The
    depth is down from what stands close beside the groove; where waste was opened there, from the
    part's own surface, the lowest it may be opened to: a wall that is missing below is found.
    """
    raised = float(getattr(part, "hold_back", 0.0)) if stage is Stage.ROUGH else 0.0
    own = _shoulders(part.lower, field, slot, stage)
    milled = frozenset((slot.string,))
    whole = _shoulders(lambda x, y, s: part.upper(x, y, s, milled), field, slot, stage)
    found = []
    for row in range(len(field.y)):
        shoulder = float(own[row])
        if _beside(field, row, slot) >= whole[row] - table("proof")["limits"]["gouge"]:
            shoulder = float(whole[row])
        found.append(_station(field, row, slot, raised, shoulder))
    floor = max(found, key=lambda f: abs(f[0]))
    return SlotProof(
        string=slot.string,
        floor_um=1000 * floor[0],
        centre_um=1000 * max((f[1] for f in found), key=abs),
        width_um=1000 * max((f[2] for f in found), key=abs),
        at=floor[3],
    )


Bound = Callable[[Floats, Floats, Stage], Floats]


def _shoulders(bound: Bound, field: Field, slot: SlotLike, stage: Stage) -> Floats:
    """The lower of a bound's heights close beside both walls, over each probe line."""
    half = slot.width / 2 / math.cos(slot.yaw) + table("proof")["limits"]["width"]
    axis = axis_of(slot, field.y)
    return np.asarray(np.minimum(*(bound(axis + s * half, field.y, stage) for s in (-1.0, 1.0))))


def _beside(field: Field, row: int, slot: SlotLike) -> float:
    """What stands close beside both walls of a slot, wherever in ``shoulder`` mm it begins."""
    off = field.x - float(axis_of(slot, field.y)[row])
    half = slot.width / 2 / math.cos(slot.yaw)
    close = half + table("proof")["cells"]["shoulder"]
    z = field.z[row]
    return min(float(z[(side * off > half) & (side * off < close)].max()) for side in (-1.0, 1.0))


Station = tuple[float, float, float, tuple[float, float, float]]


def _station(field: Field, row: int, slot: SlotLike, raised: float, shoulder: float) -> Station:
    """Floor, centre and width errors of one probe line, mm, and the floor's place."""
    x, z, y = field.x, field.z[row], float(field.y[row])
    axis = float(axis_of(slot, field.y)[row])
    wanted = slot.floor_front + raised - math.tan(slot.tilt) * y
    r = slot.width / 2
    inside = np.flatnonzero(np.abs(x - axis) < r)
    lowest = inside[int(z[inside].argmin())]
    floor = float(z[lowest])
    place = (float(x[lowest]), y, floor)
    rise = min(r / math.cos(slot.tilt), 0.9 * (shoulder - floor))
    if not rise > 0:
        return floor - wanted, math.inf, math.inf, place
    level = floor + rise
    left, right = _walls(x, z, int(lowest), level)
    half = math.sqrt(r**2 - (r - rise * math.cos(slot.tilt)) ** 2) / math.cos(slot.yaw)
    return floor - wanted, (left + right) / 2 - axis, right - left - 2 * half, place


def _walls(x: Floats, z: Floats, middle: int, level: float) -> tuple[float, float]:
    """Where the surface first reaches a level, left and right of a place; inf where it doesn't."""
    high = z >= level
    left = np.flatnonzero(high[:middle])
    right = np.flatnonzero(high[middle:])
    if not left.size or not right.size:
        return -math.inf, math.inf
    a, b = int(left[-1]), middle + int(right[0])
    return _crossing(x, z, a, a + 1, level), _crossing(x, z, b, b - 1, level)


def _crossing(x: Floats, z: Floats, high: int, low: int, level: float) -> float:
    """Between a place above the level and its neighbour below it; an upright wall at the middle."""
    rise = z[high] - z[low]
    share = (z[high] - level) / rise if rise < 0.05 else 0.5
    return float(x[high] + (x[low] - x[high]) * share)


def end_errors(part: PartLike, ends: tuple[Field, Field], stage: Stage) -> Iterator[Worst]:
    """How far each end that was cut stands out (+) or falls short (-), mm, at its worst place.

    Measured at 0.9 of the part's height there; an end with no cut near it on any line is left to
    the saw, but one that is cut on some lines must be cut on all.
    """
    for field, outward in zip(ends, (-1.0, 1.0), strict=True):
        found = list(_end_lines(part, field, outward, stage))
        if any(cut for cut, _ in found):
            yield from (worst for _, worst in found)


def uncut_ends(part: PartLike, face: Field) -> Iterator[Worst]:
    """What an outline on face left uncut close outside an end, mm thick, above the tabs.

    ``face`` has the axes of the machine: x, the part's z along y, and -y as its height. A later
    set-up sees only the top of what stands there, so it is judged here. An end with no cut near it
    at all is left to the saw.
    """
    limits = table("proof")["limits"]
    bottom = -part.thickness
    for end, outward in ((0.0, -1.0), (part.length, 1.0)):
        away = outward * (face.x - end)
        columns = np.flatnonzero((away > 0.03) & (away < 0.16))
        inside = np.array([end - outward * 0.05])
        nominal = part.lower(inside, np.array([part.thickness / 2]), Stage.FINAL)
        rows = np.flatnonzero((face.y > limits["tabs"]) & (face.y < 0.9 * float(nominal[0])))
        strip = face.z[np.ix_(rows, columns)] - bottom
        if not strip.size or np.all(strip > part.thickness - 0.01):
            continue
        row, column = np.unravel_index(int(np.argmax(strip)), strip.shape)
        if (skin := float(strip[row, column])) > limits["skin"]:
            at = (float(face.x[columns[column]]), part.thickness, float(face.y[rows[row]]))
            yield Worst(amount=skin, at=at)


def _end_lines(part: PartLike, field: Field, outward: float, stage: Stage
               ) -> Iterator[tuple[bool, Worst]]:  # fmt: skip
    """Whether each line of an end was cut at all, and how far it stands out."""
    for row, y in enumerate(field.y):
        nominal = part.lower(field.x, np.full_like(field.x, y), stage)
        there = np.flatnonzero(np.isfinite(nominal))
        if not there.size:
            continue
        edge = there[0] if outward < 0 else there[-1]
        level = 0.9 * float(nominal[edge])
        stands = np.flatnonzero(field.z[row] >= level)
        if stands.size:
            last = stands[0] if outward < 0 else stands[-1]
            off = outward * float(field.x[last] - field.x[edge])
            at = (float(field.x[last]), float(y), level)
            yield stands.size < len(field.x), Worst(amount=off, at=at)
