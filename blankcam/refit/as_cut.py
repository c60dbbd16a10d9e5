"""The parts as they stand while the instrument is set up, and what a refit makes of them.

Pure values: a nut and a saddle in the same frames as the finished ones, with no allowance left.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import overload

import numpy as np

from blankcam.data import table
from blankcam.faults import Fault, RefusedError
from blankcam.instrument.heights import per_string
from blankcam.parts.curve import Array
from blankcam.parts.design import Design
from blankcam.parts.nut import Nut, Slot
from blankcam.parts.part import Stage
from blankcam.parts.saddle import Saddle
from blankcam.parts.top_curve import ArcCurve, Curve, SmoothCurve, fit_arc
from blankcam.refit.needs import Refit, StringReading

_GRID = 2001


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """What one refit took off, mm, per string from the bass side."""

    nut: tuple[float, ...]
    saddle: tuple[float, ...]
    saddle_by: str
    """``nothing``, ``bottom`` or ``crown``."""
    bottom_left: float
    bottom_right: float

    @classmethod
    def of(cls, found: Refit) -> Taken:
        """What a refit asks for."""
        return cls(
            nut=tuple(s.nut_take for s in found.strings),
            saddle=tuple(s.saddle_take for s in found.strings),
            saddle_by=found.saddle_by,
            bottom_left=found.bottom_left,
            bottom_right=found.bottom_right,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """Both parts as they are now; their own allowance and hold-back are 0."""

    nut: Nut
    saddle: Saddle
    top_done: bool
    """Whether the nut's top is already the finished one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LoweredCurve:
    """One curve less another."""

    base: Curve
    by: Curve

    def height(self, x: Array) -> Array:
        """Its value at each x, mm."""
        return np.asarray(self.base.height(x) - self.by.height(x))

    def slope(self, x: Array) -> Array:
        """Its derivative at each x."""
        return np.asarray(self.base.slope(x) - self.by.slope(x))


def both_parts(found: Design) -> tuple[Nut, Saddle]:
    """Nut and saddle of a design.

    Raises
    ------
    RefusedError
        Where the job makes one of them alone.
    """
    if found.nut is None or found.saddle is None:
        missing = "nut" if found.nut is None else "saddle"
        raise RefusedError(
            Fault(
                where=found.job.path,
                key=f"blanks.{missing}",
                wrong=f"a refit needs nut and saddle, and this job makes no {missing}",
                fix=f"give the {missing} that is on the instrument as a blank",
            )
        )
    return found.nut, found.saddle


def as_made(found: Design, stage: Stage) -> Standing:
    """The parts as ``make`` left them."""
    rough = stage is Stage.ROUGH
    nut, saddle = both_parts(found)
    raised = nut.slot_raise(stage)
    slots = tuple(replace(s, floor_front=s.floor_front + raised) for s in nut.slots)
    top = replace(nut.top, z0=nut.top.z0 + (nut.allowance if rough else 0.0))
    over = straight(-saddle.allowance if rough else 0.0, 0.0)
    return Standing(
        nut=replace(nut, top=top, slots=slots, allowance=0.0, hold_back=0.0),
        saddle=replace(saddle, top=lowered(saddle.top, over), allowance=0.0),
        top_done=not rough,
    )


def straight(level: float, slope: float) -> ArcCurve:
    """The line ``level + slope x``."""
    return ArcCurve(z0=level, k=slope, radius=math.inf, middle=0.0)


@overload
def lowered(base: ArcCurve, by: ArcCurve) -> ArcCurve: ...
@overload
def lowered(base: Curve, by: Curve) -> Curve: ...
def lowered(base: Curve, by: Curve) -> Curve:
    """A curve less another; an arc less a line stays that arc."""
    if isinstance(base, ArcCurve) and isinstance(by, ArcCurve) and math.isinf(by.radius):
        level = float(by.height(np.array(base.middle)))
        return replace(base, z0=base.z0 - level, k=base.k - by.k)
    return LoweredCurve(base=base, by=by)


def after(found: Design, now: Standing, taken: Taken) -> Standing:
    """The parts once a refit is cut: floors, then the nut's finished top, and the saddle.

    Raises
    ------
    RefusedError
        When a part would become too low to stand.
    """
    dressed = _nut_after(found, now, taken.nut)
    waits = not (now.top_done or any(taken.nut)) and _shallow(dressed)
    nut_cut = any(taken.nut) or not (now.top_done or waits)
    made = Standing(
        nut=dressed if nut_cut else now.nut,
        saddle=_saddle_after(now.saddle, taken),
        top_done=now.top_done or not waits,
    )
    if faults := list(_refusals(found.job.path, made)):
        raise RefusedError(faults)
    return made


def _shallow(nut: Nut) -> bool:
    """Whether a string would have next to no wall."""
    return any(s.depth_front < table("limits")["nut"]["depth"] / 2 for s in nut.slots)


def _lifted(found: Design, slots: Sequence[Slot]) -> tuple[Slot, ...]:
    """The slots with the lifts that go with their floors."""
    return tuple(
        replace(s, lift=d.lift + s.floor_front - d.floor_front)
        for s, d in zip(slots, both_parts(found)[0].slots, strict=True)
    )


def _nut_after(found: Design, now: Standing, takes: Sequence[float]) -> Nut:
    """Lower floors, and the top that goes with them: nowhere over what stands.

    In stage rough the waste over the slots was opened down to the top as designed, so that the new
    top stays under that too.
    """
    nut, floors = now.nut, [s.floor_front - t for s, t in zip(now.nut.slots, takes, strict=True)]
    as_designed = both_parts(found)[0]
    exposures = per_string(found.job.nut.exposure, [s.u_nut for s in found.instrument.strings])
    wanted = [f + (1 - e) * s.gauge for f, e, s in zip(floors, exposures, nut.slots, strict=True)]
    centres = np.array([s.centre for s in nut.slots])
    top = fit_arc(centres, np.array(wanted), as_designed.top.radius, as_designed.top.middle)
    bounds = [nut.top] if now.top_done else [nut.top, as_designed.top]
    top = _under(top, bounds, nut.length)
    depths = top.height(centres) - np.array(floors)
    slots = tuple(
        replace(s, floor_front=f, depth_front=float(d), exposure=float((s.gauge - d) / s.gauge))
        for s, f, d in zip(nut.slots, floors, depths, strict=True)
    )
    return replace(nut, top=top, slots=_lifted(found, slots))


def _under(top: ArcCurve, bounds: Sequence[ArcCurve], length: float) -> ArcCurve:
    """The top brought under the bounds, each end by itself.

    All are the same arc with lines of their own, so that what differs is straight: under at both
    ends is under all along.
    """
    ends = np.array([0.0, length])
    over = np.max([top.height(ends) - b.height(ends) for b in bounds], axis=0)
    left, right = np.maximum(over, 0.0)
    return lowered(top, straight(float(left), float(right - left) / length))


def _saddle_after(saddle: Saddle, taken: Taken) -> Saddle:
    if taken.saddle_by == "nothing":
        return saddle
    centres = np.array([s.centre for s in saddle.strings])
    by: Curve
    if taken.saddle_by == "bottom":
        slope = (taken.bottom_right - taken.bottom_left) / saddle.length
        by = straight(taken.bottom_left, slope)
    else:
        order = np.argsort(centres)
        by = SmoothCurve(
            xs=tuple(centres[order]), zs=tuple(np.array(taken.saddle)[order]), level_ends=True
        )
    top = lowered(saddle.top, by)
    seats = tuple(
        replace(s, height=float(h), residual=0.0)
        for s, h in zip(saddle.strings, top.height(centres), strict=True)
    )
    radius = saddle.top_radius if isinstance(top, ArcCurve) else None
    return replace(saddle, top=top, top_radius=radius, strings=seats)


def bottom_trim(saddle: Saddle, taken: Taken) -> Nut:
    """The standing saddle turned over about its long axis, its underside as it is to be.

    A part like a nut without slots: x as before, z up from where the crown's highest point rests,
    so that the underside stood level at ``saddle.height``.
    """
    slope = (taken.bottom_left - taken.bottom_right) / saddle.length
    return Nut(
        length=saddle.length,
        thickness=saddle.thickness,
        fit=saddle.fit,
        top=straight(saddle.height - taken.bottom_left, slope),
        tilt=0.0,
        slots=(),
        allowance=0.0,
        hold_back=0.0,
        name="saddle",
    )


def end_heights(saddle: Saddle) -> tuple[float, float]:
    """Heights over the underside that a caliper finds at both ends, half a thickness in."""
    inset = saddle.thickness / 2
    left, right = saddle.top.height(np.array([inset, saddle.length - inset]))
    return float(left), float(right)


def readings_of(
    found: Design,
    *,
    first_fret: Sequence[float],
    action: Sequence[float],
    want_first_fret: Sequence[float],
    want_action: Sequence[float],
) -> tuple[StringReading, ...]:
    """Every string's readings with the places that its own path gives."""
    s1, s12 = (float(found.instrument.board.fret_at(n)) for n in (1, 12))
    return tuple(
        StringReading(
            number=path.number,
            note=path.note,
            t1=s1 / path.length,
            t12=s12 / path.length,
            place=seat.centre,
            first_fret=first_fret[i],
            action=action[i],
            want_first_fret=want_first_fret[i],
            want_action=want_action[i],
        )
        for i, (path, seat) in enumerate(
            zip(found.instrument.strings, both_parts(found)[1].strings, strict=True)
        )
    )


def _refusals(path: str, made: Standing) -> Iterator[Fault]:
    nut_least, saddle_least = table("limits")["nut"]["floor"], table("limits")["saddle"]["floor"]
    for slot in made.nut.slots:
        lowest = float(slot.floor(made.nut.thickness))
        if lowest < nut_least:
            yield Fault(
                where=path,
                key=f"nut, slot {slot.string}",
                wrong=f"its floor would come within {lowest:.2f} mm of the seat,"
                f" under {nut_least} mm",
                fix="check the readings and the seat; make a new nut on a shim",
            )
    lowest = float(np.min(made.saddle.top.height(np.linspace(0, made.saddle.length, _GRID))))
    if lowest < saddle_least:
        yield Fault(
            where=path,
            key="saddle",
            wrong=f"it would be {lowest:.2f} mm high at its lowest, under {saddle_least} mm",
            fix="check the readings; a neck set or a shallower slot may be the answer",
        )


def cautions(made: Standing) -> Iterator[str]:
    """What became doubtful by the refit."""
    if not made.top_done:
        yield (
            "the nut's top is left for the next refit: no floor comes down now, and under the finished"
            " top a string would have no wall"
        )
        return
    least = table("limits")["nut"]["depth"]
    for slot in made.nut.slots:
        if slot.depth_front < least:
            yield (
                f"slot {slot.string} ({slot.note}) would be only {slot.depth_front:.3f} mm deep:"
                " the string may jump out until its floor comes down further"
            )
