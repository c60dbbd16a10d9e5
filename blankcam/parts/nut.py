"""The nut as a solid: a height over its plan, lower of its top and its slots.

Part frame: x right from the left end, y toward the head from the face that looks to the tail,
z up from the floor of the seat.
"""

from __future__ import annotations

import math
from collections.abc import Container, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from blankcam.data import table
from blankcam.faults import Fault, RefusedError
from blankcam.inputs.job import BlankJob, Job
from blankcam.instrument.heights import Instrument, StringPath, nut_floor_at, per_string
from blankcam.instrument.nut_edges import stands_forward
from blankcam.parts import silhouette
from blankcam.parts.curve import Array, Chain
from blankcam.parts.fit import Fit, fit, fitted_thickness
from blankcam.parts.frames import ReferenceSurface
from blankcam.parts.part import Feature, FeatureKind, features_of
from blankcam.parts.resting import Crossing, resting_faults
from blankcam.parts.silhouette import straight_ended
from blankcam.parts.slot import FrontStep, Slot, between, clear_window
from blankcam.parts.stage import Stage
from blankcam.parts.surface import TopSurface
from blankcam.parts.top_curve import ArcCurve, Curve, RaisedCurve, fit_arc

RIDGE: float = table("limits")["top"]["ridge"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Nut:
    """The whole nut; a ``Part``."""

    length: float
    thickness: float
    fit: Fit
    top: ArcCurve
    """Finished top along the front edge."""
    tilt: float
    slots: tuple[Slot, ...]
    allowance: float
    hold_back: float
    waste_kept: float
    """How much of the allowance stays where it is opened over a slot."""
    name: str = "nut"

    @property
    def features(self) -> tuple[Feature, ...]:
        """What is made of it, in working order."""
        return tuple(
            features_of(
                FeatureKind.THICKNESS,
                FeatureKind.OUTLINE,
                FeatureKind.TOP,
                FeatureKind.FRONT,
                FeatureKind.WASTE,
                FeatureKind.SLOT,
                slots=self.slots,
            )
        )

    @property
    def top_radius(self) -> float:
        """Of its top; infinite for a straight one."""
        return self.top.radius

    @property
    def top_feature(self) -> FeatureKind:
        """What bringing out its top is called."""
        return FeatureKind.TOP

    @property
    def seen_side(self) -> ReferenceSurface:
        """The side that is seen from the bridge, where y is 0."""
        return ReferenceSurface.FINGERBOARD_SIDE

    @property
    def height(self) -> float:
        """The finished nut at its highest."""
        return float(np.max(self.top.height(np.linspace(0.0, self.length, 2001))))

    def with_whole_front(self, strings: Container[int]) -> Nut:
        """The nut with its front whole at some strings: cut back already, or by hand later."""
        slots = (s.without_step() if s.string in strings else s for s in self.slots)
        return replace(self, slots=tuple(slots))

    def at(self, stage: Stage) -> NutTarget:
        """What that stage is to leave of it."""
        return NutTarget(
            nut=self, raised=stage.left(self.allowance), floor_raise=stage.left(self.hold_back)
        )

    def elevation(self) -> Chain:
        """The finished nut's closed outline seen from the bridge, slots aside."""
        return self.at(Stage.FINAL).elevation()

    def plan(self) -> Chain:
        """Its closed outline from above."""
        return straight_ended(self.length, self.thickness)

    def covers(self, x: Array, y: Array) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
        """Whether a place lies in the part's plan."""
        return np.asarray((x >= 0) & (x <= self.length) & (y >= 0) & (y <= self.thickness))


@dataclass(frozen=True, slots=True, kw_only=True)
class NutTarget:
    """What a stage is to leave of a nut; a ``Target``."""

    nut: Nut
    raised: float
    """How much higher than finished its top stands."""
    floor_raise: float
    """How much higher than finished its floors stand."""

    @property
    def ridge(self) -> float:
        """How high ridges may stand on its top: a share of what comes off it later."""
        return RIDGE * self.raised

    @property
    def opened(self) -> float:
        """How much higher than the finished top waste stands once it is opened over a slot.

        Where floors stay higher for good, the top can stay so much higher with them.
        """
        return min(self.nut.waste_kept, self.raised)

    @property
    def top(self) -> Curve:
        """Its top along the front edge."""
        return RaisedCurve(base=self.nut.top, by=self.raised)

    @property
    def slots(self) -> tuple[Slot, ...]:
        """Its slots with the floors that it leaves."""
        return tuple(s.with_floor_raised(self.floor_raise) for s in self.nut.slots)

    @property
    def surface(self) -> TopSurface:
        """Its top over the plan and beyond, slots aside."""
        nut = self.nut
        return TopSurface(top=nut.top, length=nut.length, tilt=nut.tilt, raised=self.raised)

    def lower(self, x: Array, y: Array) -> Array:
        """Nothing may be cut below this; -inf outside the plan. Shapes of x and y broadcast."""
        x, y, z = self._tops(x, y)
        nut = self.nut
        if self.raised:
            windows = (clear_window(nut.slots, slot, nut.length) for slot in nut.slots)
            opened = np.any([(x >= left) & (x <= right) for left, right in windows], axis=0)
            z -= np.where(opened, self.raised - self.opened, 0.0)
        _groove(z, x, y, self.slots)
        for slot in nut.slots:
            if slot.step is not None:
                z = np.where(slot.step.covers(x, y), np.minimum(z, slot.step.bottom), z)
        return np.where(nut.covers(x, y), z, -np.inf)

    def upper(self, x: Array, y: Array, milled: frozenset[int]) -> Array:
        """Nothing may be left above this; +inf outside the plan.

        ``milled``: numbers of the strings whose slots are to be cut to the stage's floor; the
        others are left to the file. In a step's corners the round of a tool may stay.
        """
        x, y, z = self._tops(x, y)
        _groove(z, x, y, [s for s in self.slots if s.string in milled])
        for slot in self.nut.slots:
            if slot.step is not None:
                left, right = slot.straight_back()
                kept = replace(slot.step, left=left, right=right)
                z = np.where(kept.covers(x, y), np.minimum(z, slot.step.bottom), z)
        return np.where(self.nut.covers(x, y), z, np.inf)

    def uncut(self, x: Array, y: Array) -> Array:
        """Its top with neither slots nor steps in it; +inf outside the plan."""
        x, y, z = self._tops(x, y)
        return np.where(self.nut.covers(x, y), z, np.inf)

    def elevation(self) -> Chain:
        """The whole nut as a closed outline, slots aside, seen from the bridge."""
        return silhouette.elevation(self.nut.top, self.nut.length, self.raised)

    def _tops(self, x: Array, y: Array) -> tuple[Array, Array, Array]:
        """Places as arrays, and the top over them in the shape they broadcast to, for changes."""
        x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
        z = self.surface.height(x, y)
        return x, y, np.array(np.broadcast_to(z, np.broadcast_shapes(x.shape, y.shape)))


def _groove(z: Array, x: Array, y: Array, slots: Iterable[Slot]) -> None:
    """Lower the heights z to the grooves, in place; only where each one runs."""
    for slot in slots:
        part, row = z, x
        if x.ndim == 2 and x.shape[0] == 1 and y.size:  # a grid: only its columns at the slot
            axis = slot.axis(np.array((y.min(), y.max())))
            half = slot.radius / math.cos(slot.yaw)
            near = (x[0] >= axis.min() - half) & (x[0] <= axis.max() + half)
            some = np.flatnonzero(near)
            if not some.size:
                continue
            kept = slice(int(some[0]), int(some[-1]) + 1)
            part, row = z[:, kept], x[:, kept]
        np.minimum(part, slot.surface(row, y), out=part)


def build(job: Job, instrument: Instrument, blank: BlankJob) -> Nut:
    """The nut of a job from its blank.

    Raises
    ------
    RefusedError
        With every reason why it must not be cut so.
    """
    nut = shaped(job, instrument, blank)
    if faults := refusals(job, nut):
        raise RefusedError(faults)
    return nut


def refusals(job: Job, nut: Nut) -> list[Fault]:
    """Every reason why a nut must not be cut as it is shaped."""
    return [*_resting(job.path, nut), *_refusals(job.path, nut), *_lift_refusals(job, nut)]


def shaped(job: Job, instrument: Instrument, blank: BlankJob) -> Nut:
    """The nut as the job asks for it, whether it may be cut or not."""
    seat = fit(job.nut.seat_width, job.blanks.fit)
    exposures = per_string(job.nut.exposure, [s.u_nut for s in instrument.strings])
    backs, fall = _backs(instrument), math.tan(job.nut.tilt)
    wanted = [
        s.z_nut - nut_floor_at(instrument, s.u_nut) + (1 - e) * s.gauge + fall * back
        for s, e, back in zip(instrument.strings, exposures, backs, strict=True)
    ]
    top = _top(instrument, wanted)
    slots = [
        _slot(job, instrument, s, top, back)
        for s, back in zip(instrument.strings, backs, strict=True)
    ]
    return Nut(
        length=job.board.width_at_nut,
        thickness=fitted_thickness(seat, blank.thickness),
        fit=seat,
        top=top,
        tilt=job.nut.tilt,
        slots=_stepped(slots, backs, job.board.width_at_nut),
        allowance=job.nut.allowance,
        hold_back=job.nut.hold_back,
        waste_kept=job.nut.hold_back,
    )


def _top(instrument: Instrument, wanted: list[float]) -> ArcCurve:
    """The arc concentric with the board, tilted straight across, nearest to the wanted tops."""
    board = instrument.board
    u = np.array([s.u_nut for s in instrument.strings])
    over_wood = np.array(wanted) + instrument.nut_floor - board.wood(0.0, u)
    radius = board.radius(0.0) + float(np.mean(over_wood))
    middle = board.width_at_nut / 2
    return fit_arc(u + middle, np.array(wanted), radius, middle)


def _backs(instrument: Instrument) -> list[float]:
    """How far behind the nut's front each string's edge lies, mm."""
    forward = stands_forward([s.front for s in instrument.strings])
    return [forward - s.front for s in instrument.strings]


def _stepped(slots: Sequence[Slot], backs: Sequence[float], length: float) -> tuple[Slot, ...]:
    """The slots of a nut of that length, its front cut back so far at each."""
    return tuple(
        replace(slot, step=_step(slots, slot, back, length)) if back else slot
        for slot, back in zip(slots, backs, strict=True)
    )


def _step(slots: Sequence[Slot], slot: Slot, back: float, length: float) -> FrontStep:
    """A step as wide as its neighbours leave room: each keeps half of the wall between them.

    ``slots``: still without steps, so that each floor is its string's at the edge.
    """
    limits, walls = table("limits")["front"], table("limits")["nut"]
    at = sorted(slots, key=lambda s: s.centre)
    i, reach = at.index(slot), slot.radius + limits["side"]
    left, right = slot.centre - reach, slot.centre + reach
    if i > 0:
        left = max(left, between(at[i - 1], slot) + walls["web"] / 2)
    if i < len(at) - 1:
        right = min(right, between(slot, at[i + 1]) - walls["web"] / 2)
    return FrontStep(
        back=back,
        left=max(left, walls["end"]),
        right=min(right, length - walls["end"]),
        bottom=slot.floor_front - limits["under"],
        beside=limits["beside"],
    )


def _slot(job: Job, instrument: Instrument, string: StringPath, top: ArcCurve, back: float) -> Slot:
    centre = string.u_nut + instrument.board.width_at_nut / 2
    floor = string.z_nut - nut_floor_at(instrument, string.u_nut)
    depth = float(top.height(np.array(centre))) - math.tan(job.nut.tilt) * back - floor
    return Slot(
        string=string.number,
        note=string.note,
        course=string.course,
        gauge=string.gauge,
        centre=centre,
        width=string.gauge + job.nut.clearance,
        floor_front=floor,
        tilt=job.nut.tilt,
        yaw=0.0,
        lift=string.lift,
        exposure=(string.gauge - depth) / string.gauge,
        depth_front=depth,
    )


def _resting(path: str, nut: Nut) -> Iterator[Fault]:
    for slot in nut.slots:
        crossing = Crossing(
            string=slot.string, note=slot.note, gauge=slot.gauge, centre=slot.centre
        )
        yield from resting_faults(
            path, nut.name, nut.length, [crossing],
            key=_margin_of(nut, slot), fix="use a larger margin on that side",
        )  # fmt: skip


def _margin_of(nut: Nut, slot: Slot) -> str:
    """The key of the margin on a slot's side of the nut."""
    return "nut.margin_bass" if 2 * slot.string > len(nut.slots) else "nut.margin_treble"


def _refusals(path: str, nut: Nut) -> Iterator[Fault]:
    limits = table("limits")["nut"]
    at = sorted(nut.slots, key=lambda s: s.centre)
    for left, right in pairwise(at):
        web = right.centre - right.radius - left.centre - left.radius
        if web < limits["web"]:
            yield Fault(
                where=path,
                key="nut",
                wrong=f"the wall between slots {left.string} and {right.string} would be "
                f"{web:.2f} mm, under {limits['web']} mm",
                fix="use smaller margins, a wider course_gap or less clearance",
            )
    for slot, wall in (
        (at[0], at[0].centre - at[0].radius),
        (at[-1], nut.length - at[-1].centre - at[-1].radius),
    ):
        if wall < limits["end"]:
            yield Fault(
                where=path,
                key=_margin_of(nut, slot),
                wrong=f"the wall outside slot {slot.string} would be {wall:.2f} mm, "
                f"under {limits['end']} mm",
                fix="use a larger margin on that side",
            )
    for slot in nut.slots:
        yield from _slot_refusals(path, nut, slot)
        yield from _step_refusals(path, nut, slot)


def _lift_refusals(job: Job, nut: Nut) -> Iterator[Fault]:
    """Strings that would rest on fret 1, under the key that asks for it."""
    asked = next(k for k in ("lift", "third_fret", "first_fret") if getattr(job.nut, k) is not None)
    for slot in nut.slots:
        if slot.lift < 0:
            yield Fault(
                where=job.path,
                key=f"nut.{asked}",
                wrong=f"string {slot.string} ({slot.note}) would lie {-slot.lift:.3f} mm below the "
                "line of the frets at the nut: the open string would rest on fret 1",
                fix="ask for more lift"
                if asked == "lift"
                else "ask for more clearance at fret 1, or less action",
            )


def _step_refusals(path: str, nut: Nut, slot: Slot) -> Iterator[Fault]:
    step, limits = slot.step, table("limits")["front"]
    if step is None:
        return
    beside = min(slot.centre - step.left, step.right - slot.centre) - slot.radius
    if beside < limits["beside"]:
        yield Fault(
            where=path,
            key="nut.compensation",
            wrong=f"the step in the nut's front at string {slot.string} ({slot.note}) could reach "
            f"only {max(beside, 0.0):.2f} mm beside its slot, under {limits['beside']} mm: "
            "a wall to its neighbour must stay",
            fix='more room between the strings or outside them, or compensation = "none"',
        )
    if (behind := nut.thickness - step.back) < limits["behind"]:
        yield Fault(
            where=path,
            key="nut.compensation",
            wrong=f"only {behind:.2f} mm of the nut would stay behind the step of string "
            f"{slot.string} ({slot.note}), {step.back:.2f} mm deep: under {limits['behind']} mm",
            fix='values nearer to each other, a wider seat, or compensation = "none"',
        )
    if step.bottom < table("limits")["nut"]["floor"]:
        yield Fault(
            where=path,
            key="nut.compensation",
            wrong=f"the step of string {slot.string} ({slot.note}) would come within "
            f"{step.bottom:.2f} mm of the seat, under {table('limits')['nut']['floor']} mm",
            fix='check seat_drop, or write compensation = "none"',
        )


def _slot_refusals(path: str, nut: Nut, slot: Slot) -> Iterator[Fault]:
    limits = table("limits")["nut"]
    lowest = float(slot.floor(nut.thickness))
    if lowest < limits["floor"]:
        yield Fault(
            where=path,
            key="nut.seat_drop",
            wrong=f"the floor of slot {slot.string} would come within {lowest:.2f} mm of the "
            f"seat, under {limits['floor']} mm",
            fix="check seat_drop and tilt",
        )
    if slot.depth_front < limits["depth"]:
        yield Fault(
            where=path,
            key="nut.exposure",
            wrong=f"slot {slot.string} would be {slot.depth_front:.3f} mm deep: the top can't "
            "follow these heights",
            fix="ask for less exposure, or for heights that change more evenly across",
        )
