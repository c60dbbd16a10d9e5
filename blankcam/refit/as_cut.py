"""The parts as they stand while the instrument is set up, and what a refit makes of them.

Pure values: a nut and a saddle in the same frames as the finished ones. Slots come first; the nut's
top comes down once, last, when its floors are final.
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
from blankcam.parts.nut import Nut
from blankcam.parts.saddle import Saddle
from blankcam.parts.stage import Stage
from blankcam.parts.top_curve import ArcCurve, Curve, SmoothCurve, fit_arc
from blankcam.refit.history import Trim
from blankcam.refit.numbers import number_at

_GRID = 2001


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """What one refit takes off, mm, per string from the bass side."""

    nut: tuple[float, ...]
    saddle: tuple[float, ...]
    trim: Trim
    bottom_left: float = 0.0
    bottom_right: float = 0.0
    top: bool = False
    """Whether the nut's top is brought down to its floors."""
    widths: tuple[float, ...] = ()
    """Of the slots, where other strings ask for wider ones; else empty."""

    @property
    def nothing(self) -> bool:
        """Whether nothing is cut."""
        return self.trim == "nothing" and not self.nut_cut

    @property
    def nut_cut(self) -> bool:
        """Whether anything of the nut is cut."""
        return any(self.nut) or self.top or bool(self.widths)


@dataclass(frozen=True, slots=True, kw_only=True)
class PartsAsCut:
    """The parts as they are now; None where the job makes no such part."""

    nut: Nut | None
    """Floors and top as they stand; its allowance is the waste still standing over that top."""
    saddle: Saddle | None
    """Its top as it stands; no allowance is left."""
    nut_shim: float = 0.0
    saddle_shim: float = 0.0

    @property
    def nut_stage(self) -> Stage:
        """As whose stage the nut is cut: with waste over its top, or without."""
        return Stage.ROUGH if self.nut is not None and self.nut.allowance else Stage.FINAL


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


def designed_nut(found: Design) -> Nut:
    """The nut of a job that makes one."""
    assert found.nut is not None
    return found.nut


def designed_saddle(found: Design) -> Saddle:
    """The saddle of a job that makes one."""
    assert found.saddle is not None
    return found.saddle


def nut_as_made(found: Design, stage: Stage) -> Nut:
    """The nut as ``make`` left it."""
    nut = designed_nut(found)
    target = nut.at(stage)
    return replace(nut, slots=target.slots, hold_back=0.0, allowance=target.raised)


def saddle_as_made(found: Design, stage: Stage) -> Saddle:
    """The saddle as ``make`` left it."""
    saddle = designed_saddle(found)
    over = straight(-saddle.at(stage).raised, 0.0)
    return replace(saddle, top=lowered(saddle.top, over), allowance=0.0)


def straight(level: float, slope: float) -> ArcCurve:
    """The line ``level + slope x``."""
    return ArcCurve(z0=level, k=slope, radius=math.inf, middle=0.0)


def raised(base: ArcCurve, by: float) -> ArcCurve:
    """An arc as it is, higher."""
    return lowered(base, straight(-by, 0.0))


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


def after(found: Design, now: PartsAsCut, taken: Taken) -> PartsAsCut:
    """The parts once a refit is cut: floors, then the nut's finished top, and the saddle."""
    return replace(
        now,
        nut=None if now.nut is None else _nut_after(found, now.nut, taken),
        saddle=None if now.saddle is None else _saddle_after(now.saddle, taken),
    )


def _nut_after(found: Design, nut: Nut, taken: Taken) -> Nut:
    cut = slots_widened(slots_lowered(nut, taken.nut), taken.widths)
    return with_finished_top(found, cut) if taken.top else cut


def slots_lowered(nut: Nut, takes: Sequence[float]) -> Nut:
    """The nut with lower floors, its top as it is."""
    slots = tuple(
        replace(
            s,
            floor_front=s.floor_front - take,
            depth_front=s.depth_front + take,
            exposure=s.exposure - take / s.gauge,
            lift=s.lift - take,
        )
        for s, take in zip(nut.slots, takes, strict=True)
    )
    return replace(nut, slots=slots)


def slots_widened(nut: Nut, widths: Sequence[float]) -> Nut:
    """The nut with slots at least so wide, never narrower; as they are where none are given."""
    if not widths:
        return nut
    slots = tuple(replace(s, width=max(s.width, w)) for s, w in zip(nut.slots, widths, strict=True))
    return replace(nut, slots=slots)


def widths_lacking(found: Design, nut: Nut | None) -> tuple[float, ...]:
    """The widths that the job's strings ask for, where a slot is narrower; else empty."""
    if nut is None:
        return ()
    wanted = tuple(s.width for s in designed_nut(found).slots)
    worth = float(table("refit")["standing"]["width_worth"])
    lacking = any(w - s.width > worth for s, w in zip(nut.slots, wanted, strict=True))
    return tuple(max(s.width, w) for s, w in zip(nut.slots, wanted, strict=True)) if lacking else ()


def with_strings(found: Design, now: PartsAsCut) -> PartsAsCut:
    """The nut under the job's strings: other gauges lie in the same slots."""
    return now if now.nut is None else replace(now, nut=_nut_with_strings(found, now.nut))


def _nut_with_strings(found: Design, nut: Nut) -> Nut:
    slots = tuple(
        replace(s, gauge=d.gauge, note=d.note)
        for s, d in zip(nut.slots, designed_nut(found).slots, strict=True)
    )
    return replace(nut, slots=slots)


def finished_top(found: Design, nut: Nut) -> ArcCurve:
    """The top that goes with the floors as they stand: nowhere over what stands.

    The arc of the design, nearest to the exposures asked for, but leaving no slot shallower than
    the share of its gauge in data/refit.toml.
    """
    exposures = per_string(found.job.nut.exposure, [s.u_nut for s in found.instrument.strings])
    floors = np.array([s.floor_front for s in nut.slots])
    gauges = np.array([s.gauge for s in nut.slots])
    centres = np.array([s.centre for s in nut.slots])
    floors = floors + _falls(nut)  # as the top's, at the nut's front
    wanted = floors + (1 - np.array(exposures)) * gauges
    top = fit_arc(centres, wanted, designed_nut(found).top.radius, designed_nut(found).top.middle)
    least = float(table("refit")["standing"]["least_depth"])
    lacking = np.max(floors + least * gauges - top.height(centres))
    if lacking > 0:
        top = replace(top, z0=top.z0 + float(lacking))
    return _under(top, raised(nut.top, nut.at(Stage.ROUGH).opened), nut.length)


def with_finished_top(found: Design, nut: Nut) -> Nut:
    """The nut with its top brought down to the floors as they stand."""
    top = finished_top(found, nut)
    slots = []
    for slot, fall in zip(nut.slots, _falls(nut), strict=True):
        depth = float(top.height(np.array(slot.centre))) - fall - slot.floor_front
        exposure = (slot.gauge - depth) / slot.gauge
        slots.append(replace(slot, depth_front=depth, exposure=exposure))
    return replace(nut, top=top, slots=tuple(slots), allowance=0.0)


def _falls(nut: Nut) -> Array:
    """How much lower the top is at each slot's front edge than at the nut's front, mm."""
    return np.array([math.tan(nut.tilt) * s.edge for s in nut.slots])


def top_is_due(found: Design, nut: Nut | None) -> bool:
    """Whether the nut's top still stands over what its floors ask for, by more than is worth it."""
    if nut is None:
        return False
    if nut.allowance:
        return True
    centres = np.array([s.centre for s in nut.slots])
    over = nut.top.height(centres) - finished_top(found, nut).height(centres)
    return bool(np.max(over) > table("refit")["standing"]["top_worth"])


def _under(top: ArcCurve, bound: ArcCurve, length: float) -> ArcCurve:
    """The top brought under the bound, each end by itself.

    Both are the same arc with lines of their own, so that what differs is straight: under at both
    ends is under all along.
    """
    ends = np.array([0.0, length])
    left, right = np.maximum(top.height(ends) - bound.height(ends), 0.0)
    return lowered(top, straight(float(left), float(right - left) / length))


def _saddle_after(saddle: Saddle, taken: Taken) -> Saddle:
    if taken.trim == "nothing":
        return saddle
    centres = np.array([s.centre for s in saddle.strings])
    by: Curve
    if taken.trim == "bottom":
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
        waste_kept=0.0,
        name="saddle",
    )


def end_heights(saddle: Saddle) -> tuple[float, float]:
    """Heights over the underside that a caliper finds at both ends, half a thickness in."""
    inset = saddle.thickness / 2
    left, right = saddle.top.height(np.array([inset, saddle.length - inset]))
    return float(left), float(right)


def stop_unfit(found: Design, made: PartsAsCut) -> None:
    """Raise RefusedError where a part would become too low to stand, or leave its seat."""
    faults = [] if made.nut is None else [*_nut_faults(found, made.nut)]
    if made.saddle is not None:
        faults += _saddle_faults(found, made.saddle, made.saddle_shim)
    if faults:
        raise RefusedError(faults)


def _nut_faults(found: Design, nut: Nut) -> Iterator[Fault]:
    least = table("limits")["nut"]["floor"]
    for place, slot in enumerate(nut.slots):
        lowest = float(slot.floor(nut.thickness))
        if lowest < least:
            yield Fault(
                where=found.job.path,
                key=f"nut, slot {number_at(place, len(nut.slots))}",
                wrong=f"its floor would come within {lowest:.2f} mm of the seat, under {least} mm",
                fix="check the readings and the seat; make a new nut on a shim",
            )


def _saddle_faults(found: Design, saddle: Saddle, shim: float) -> Iterator[Fault]:
    least, standing = table("limits")["saddle"]["floor"], table("refit")["standing"]
    heights = saddle.top.height(np.linspace(0, saddle.length, _GRID))
    lowest, highest = float(np.min(heights)), float(np.max(heights))
    if lowest < least:
        yield Fault(
            where=found.job.path,
            key="saddle",
            wrong=f"it would be {lowest:.2f} mm high at its lowest, under {least} mm",
            fix="check the readings; a neck set or a shallower slot may be the answer",
        )
    slot = found.job.saddle.slot_depth - shim
    if slot < standing["seated"] * highest:
        yield Fault(
            where=found.job.path,
            key="saddle",
            wrong=f"it is {highest:.2f} mm high and only {slot:.2f} mm of it stand in its slot,"
            f" under {standing['seated']:g} of its height: it may tip or split the bridge",
            fix="make a taller saddle that stands on the slot's floor",
        )
    centres = np.array([s.centre for s in saddle.strings])
    proud = float(np.min(saddle.top.height(centres))) - slot
    if proud < standing["proud"]:
        yield Fault(
            where=found.job.path,
            key="saddle",
            wrong=f"a string would lie {proud:.2f} mm over the bridge, under"
            f" {standing['proud']} mm: the saddle would sink into its slot",
            fix="check the readings; a neck set may be the answer",
        )


def cautions(made: PartsAsCut) -> Iterator[str]:
    """What became doubtful by the refit."""
    if made.nut is None or made.nut.allowance:
        return
    values = table("refit")["standing"]
    for place, slot in enumerate(made.nut.slots):
        name = f"slot {number_at(place, len(made.nut.slots))} ({slot.note})"
        if slot.depth_front < values["least_depth"] * slot.gauge:
            yield (
                f"{name} is only {slot.depth_front:.2f} mm deep under the nut's top, for a string "
                f"of {slot.gauge:.2f} mm: the string may jump out; if it does, make a nut with "
                "less exposure"
            )
        elif slot.depth_front > values["over_deep"] * slot.gauge:
            yield (
                f"{name} is {slot.depth_front:.2f} mm deep under the nut's top, for a string of"
                f" {slot.gauge:.2f} mm: it may bind; fill it and begin it anew, or make a new nut"
            )
