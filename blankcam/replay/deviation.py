"""Measures how far the part that is left differs from the one wanted: whole plan, slots, ends."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from blankcam.data import table
from blankcam.parts.frames import Box
from blankcam.parts.part import Part, Target
from blankcam.parts.slot import Slot
from blankcam.parts.stage import Stage
from blankcam.replay.heightmap import Heightmap

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class SlotDeviation:
    """One milled slot as replayed; micrometres, worst over the slot's length, signed."""

    string: int
    floor_um: float
    """Floor over where the stage wants it, positive is too high."""
    centre_um: float
    """Middle between the walls, positive is too far to the right."""
    width_um: float
    """Distance between the walls, positive is too wide."""
    at: tuple[float, float, float]
    """Where the floor is worst, mm."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Deviation:
    """The greatest difference found and where, mm."""

    amount: float
    at: tuple[float, float, float]


HeightAt = Callable[[Floats, Floats], Floats]


def greatest_deviation(
    heightmaps: Sequence[Heightmap], height: HeightAt, sign: float, limit: float, side: float
) -> Deviation:
    """How far the heightmaps lie above (sign +1) or below (-1) a height at most, at least 0.

    Where that is more than ``limit``, the height is also tried ``side`` away along x and y, and
    the least difference counts: beside an upright wall no height can be compared.
    """
    worst = Deviation(amount=0.0, at=(0.0, 0.0, 0.0))
    for heightmap in heightmaps:
        off = _difference(heightmap.z, height(heightmap.x[None, :], heightmap.y[:, None]), sign)
        if off.max(initial=-np.inf) > limit:
            rows, columns = np.nonzero(off > limit)
            x, y, z = heightmap.x[columns], heightmap.y[rows], heightmap.z[rows, columns]
            kept = off[rows, columns]
            for dx, dy in ((side, 0.0), (-side, 0.0), (0.0, side), (0.0, -side)):
                kept = np.minimum(kept, _difference(z, height(x + dx, y + dy), sign))
            off[rows, columns] = kept
        if (most := float(off.max(initial=-np.inf))) > worst.amount:
            row, column = divmod(int(off.argmax()), len(heightmap.x))
            at = (
                float(heightmap.x[column]),
                float(heightmap.y[row]),
                float(heightmap.z[row, column]),
            )
            worst = Deviation(amount=most, at=at)
    return worst


def _difference(z: Floats, wanted: Floats, sign: float) -> Floats:
    """``sign * (z - wanted)``; -inf where nothing is wanted, and no material counts as z = -1e3."""
    off = np.maximum(z, -1e3)
    return np.subtract(off, wanted, out=off) if sign > 0 else np.subtract(wanted, off, out=off)


@dataclass(frozen=True, slots=True)
class ProbeLines:
    """Fine lines along x over each milled slot, by its string, and over both ends."""

    slots: dict[int, Heightmap]
    ends: tuple[Heightmap, Heightmap]
    lanes: tuple[Heightmap, ...]
    """The same heights side by side in as few heightmaps as possible, for the replay."""
    steps: dict[int, Heightmap]
    """Fine lines along y over the back of each step in a nut's front, by its string."""

    @property
    def all(self) -> tuple[Heightmap, ...]:
        """Every heightmap that the replay lowers."""
        return (*self.lanes, *self.steps.values())


def probe_lines(part: Part, stock: Box, milled: frozenset[int]) -> ProbeLines:
    """The probe lines of a blank that is not cut yet."""
    cells = table("proof")["cells"]
    step, side, stations = cells["probe"], cells["probe_side"], cells["stations"]
    y = np.linspace(0.0, part.thickness, stations)
    y[[0, -1]] += np.array((1.0, -1.0)) * cells["probe_face"]
    y = np.union1d(y, [s.edge + cells["probe_face"] for s in part.slots if s.step])
    runs: list[tuple[float, float]] = []
    strings = [s.string for s in part.slots if s.string in milled]
    for slot in (s for s in part.slots if s.string in milled):
        axis = slot_axis(slot, y)
        half = slot.width / 2 / math.cos(slot.yaw) + side
        runs.append((float(axis.min()) - half, float(axis.max()) + half))
    runs += [(end - side, end + side) for end in (0.0, part.length)]
    x = [np.arange(low, high + step / 2, step) for low, high in runs]
    lanes: list[Heightmap] = []
    views: dict[int, Heightmap] = {}
    for some in _packed_in_rows(x):
        lane = _full_blank(np.concatenate([x[i] for i in some]), y, stock)
        at = np.cumsum([0, *(len(x[i]) for i in some)]).tolist()
        for i, (a, b) in zip(some, pairwise(at), strict=True):
            views[i] = Heightmap(lane.x[a:b], y, lane.z[:, a:b])
        lanes.append(lane)
    slots = {string: views[i] for i, string in enumerate(strings)}
    ends = (views[len(x) - 2], views[len(x) - 1])
    return ProbeLines(slots, ends, tuple(lanes), step_probes(part, stock))


def step_probes(part: Part, stock: Box) -> dict[int, Heightmap]:
    """Fine lines along y over each step's back, where it must be straight; by its string."""
    cells = table("proof")["cells"]
    found = {}
    for slot in (s for s in part.slots if s.step is not None):
        x = np.linspace(*slot.straight_back(), cells["step_lines"])
        aside = cells["probe_side"]
        y = np.arange(slot.edge - aside, slot.edge + aside, cells["probe"])
        heightmap = _full_blank(x, y, stock)
        heightmap.z[(y < stock.y0) | (y > stock.y1)] = -np.inf
        found[slot.string] = heightmap
    return found


def _packed_in_rows(x: Sequence[Floats]) -> list[list[int]]:
    """Indices of the rising places, put one after the other without overlap in few rows."""
    rows: list[list[int]] = []
    for i in sorted(range(len(x)), key=lambda i: float(x[i][0])):
        free = (r for r in rows if x[r[-1]][-1] < x[i][0])
        row = next(free, None)
        if row is None:
            rows.append([i])
        else:
            row.append(i)
    return rows


def _full_blank(x: Floats, y: Floats, stock: Box) -> Heightmap:
    z = np.where((x >= stock.x0) & (x <= stock.x1), stock.z1, -np.inf)
    return Heightmap(x, y, np.repeat(z[None, :], len(y), axis=0))


def slot_axis(slot: Slot, y: Floats) -> Floats:
    """Place x of the slot's middle over y."""
    return slot.centre + math.tan(slot.yaw) * y


def slot_deviation(heightmap: Heightmap, slot: Slot, target: Target) -> SlotDeviation:
    """Floor, centre and width of one of the target's slots from its probe lines.

    The width is taken between the walls, at the height of the round floor or at 0.9 of the
    slot's depth where that is less, and compared with the groove's own width at that height. The
    depth is down from what stands close beside the groove; where waste was opened there, from the
    part's own surface, the lowest it may be opened to: a wall that is missing below is found.
    """
    heightmap = _behind_its_edge(heightmap, slot)
    own = _shoulders(target.lower, heightmap, slot)
    milled = frozenset((slot.string,))
    whole = _shoulders(lambda x, y: target.upper(x, y, milled), heightmap, slot)
    found = []
    for row in range(len(heightmap.y)):
        shoulder = float(own[row])
        if _height_beside(heightmap, row, slot) >= whole[row] - table("proof")["limits"]["gouge"]:
            shoulder = float(whole[row])
        found.append(_probe_line_errors(heightmap, row, slot, shoulder))
    floor = max(found, key=lambda f: abs(f[0]))
    return SlotDeviation(
        string=slot.string,
        floor_um=1000 * floor[0],
        centre_um=1000 * max((f[1] for f in found), key=abs),
        width_um=1000 * max((f[2] for f in found), key=abs),
        at=floor[3],
    )


def _behind_its_edge(heightmap: Heightmap, slot: Slot) -> Heightmap:
    """The lines that cross a slot, not the step before it."""
    if slot.step is None:
        return heightmap
    kept = heightmap.y > slot.edge
    return Heightmap(heightmap.x, heightmap.y[kept], heightmap.z[kept])


def step_deviation(heightmap: Heightmap, slot: Slot) -> Deviation:
    """How far the back of a slot's step lies behind (+) or before its place, mm, at its worst.

    Taken half way up from its bottom to the slot's floor, where all of it stands upright.
    """
    assert slot.step is not None
    level = (slot.step.bottom + slot.floor_front) / 2
    stands = heightmap.z > level
    worst = Deviation(amount=0.0, at=(0.0, 0.0, 0.0))
    for column, x in enumerate(heightmap.x):
        # Seen from behind, the first place that does not stand
        gone = np.flatnonzero(~stands[:, column])
        off = float(heightmap.y[gone[-1] if gone.size else 0]) - slot.edge
        if abs(off) > abs(worst.amount):
            worst = Deviation(amount=off, at=(float(x), slot.edge, level))
    return worst


def _shoulders(bound: HeightAt, heightmap: Heightmap, slot: Slot) -> Floats:
    """The lower of a bound's heights close beside both walls, over each probe line."""
    half = slot.width / 2 / math.cos(slot.yaw) + table("proof")["limits"]["width"]
    axis = slot_axis(slot, heightmap.y)
    return np.asarray(np.minimum(*(bound(axis + s * half, heightmap.y) for s in (-1.0, 1.0))))


def _height_beside(heightmap: Heightmap, row: int, slot: Slot) -> float:
    """Height of the material within ``shoulder`` mm of both walls of a slot, the lower
    of the two.
    """
    off = heightmap.x - float(slot_axis(slot, heightmap.y)[row])
    half = slot.width / 2 / math.cos(slot.yaw)
    close = half + table("proof")["cells"]["shoulder"]
    z = heightmap.z[row]
    return min(float(z[(side * off > half) & (side * off < close)].max()) for side in (-1.0, 1.0))


ProbeLineErrors = tuple[float, float, float, tuple[float, float, float]]


def _probe_line_errors(
    heightmap: Heightmap, row: int, slot: Slot, shoulder: float
) -> ProbeLineErrors:
    """Floor, centre and width errors of one probe line, mm, and the floor's place."""
    x, z, y = heightmap.x, heightmap.z[row], float(heightmap.y[row])
    axis = float(slot_axis(slot, heightmap.y)[row])
    wanted = slot.floor_front - math.tan(slot.tilt) * (y - slot.edge)
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
    return _crossing_at(x, z, a, a + 1, level), _crossing_at(x, z, b, b - 1, level)


def _crossing_at(x: Floats, z: Floats, high: int, low: int, level: float) -> float:
    """Between a place above the level and its neighbour below it; an upright wall at the middle."""
    rise = float(z[high]) - float(z[low])  # no number where all is cut away on both
    share = (z[high] - level) / rise if rise < 0.05 else 0.5
    return float(x[high] + (x[low] - x[high]) * share)


def end_deviations(
    part: Part,
    ends: tuple[Heightmap, Heightmap],
    stage: Stage,
    *,
    square: bool = False,
    tabs: float = 0.0,
) -> Iterator[Deviation]:
    """How far each end that was cut stands out (+) or falls short (-), mm, at its worst place.

    Measured at 0.9 of the part's height there; an end with no cut near it on any line is left to
    the saw, but one that is cut on some lines must be cut on all. Of ``square`` ends, to be made
    round by hand, only the line counts on which they stand out least. Where a part is so low that
    this lies under ``tabs``, mm, what stands out there is what holds it, which is broken off.
    """
    for heightmap, outward in zip(ends, (-1.0, 1.0), strict=True):
        found = list(_end_lines(part, heightmap, outward, (stage, tabs)))
        if any(cut for cut, _ in found):
            worst = [w for _, w in found]
            yield from [min(worst, key=lambda w: w.amount)] if square else worst


def tabs_up_to(radii: Iterable[float]) -> float:
    """How high over the seat side the tabs of an outline may hold the part, mm.

    A round tool of a radius among ``radii`` that leaves a tab as wide as it must be touches the
    end that much higher.
    """
    sizes = table("proof")
    least = sizes["holding"]["tab_width"] + max(radii, default=0.0) + sizes["limits"]["tab_over"]
    return float(max(sizes["limits"]["tabs"], least))


def uncut_ends(part: Part, face: Heightmap, tabs: float) -> Iterator[Deviation]:
    """What an outline on face left uncut close outside an end, mm thick, above the tabs.

    ``tabs``: how high those may hold the part, mm.

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
        nominal = part.at(Stage.FINAL).lower(inside, np.array([part.thickness / 2]))
        rows = np.flatnonzero((face.y > tabs) & (face.y < 0.9 * float(nominal[0])))
        strip = face.z[np.ix_(rows, columns)] - bottom
        if not strip.size or np.all(strip > part.thickness - 0.01):
            continue
        row, column = np.unravel_index(int(np.argmax(strip)), strip.shape)
        if (skin := float(strip[row, column])) > limits["skin"]:
            at = (float(face.x[columns[column]]), part.thickness, float(face.y[rows[row]]))
            yield Deviation(amount=skin, at=at)


def _end_lines(part: Part, heightmap: Heightmap, outward: float, until: tuple[Stage, float]
               ) -> Iterator[tuple[bool, Deviation]]:  # fmt: skip
    """Whether each line of an end was cut at all, and how far it stands out.

    ``until``: the stage, and how high tabs hold the part, mm.
    """
    stage, tabs = until
    for row, y in enumerate(heightmap.y):
        nominal = part.at(stage).lower(heightmap.x, np.full_like(heightmap.x, y))
        there = np.flatnonzero(np.isfinite(nominal))
        if not there.size:
            continue
        edge = there[0] if outward < 0 else there[-1]
        level = 0.9 * float(nominal[edge])
        stands = np.flatnonzero(heightmap.z[row] >= level)
        if stands.size:
            last = stands[0] if outward < 0 else stands[-1]
            off = outward * float(heightmap.x[last] - heightmap.x[edge])
            off = min(off, 0.0) if level < tabs else off
            at = (float(heightmap.x[last]), float(y), level)
            yield stands.size < len(heightmap.x), Deviation(amount=off, at=at)
