"""The saddle as a solid: a rounded crown along its ridge line, over its plan.

Part frame: x right from the left end, y toward the head from the face that looks to the tail,
z up from the floor of the seat. The face toward the nut is at y = thickness.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from blankcam.data import table
from blankcam.faults import Fault, RefusedError
from blankcam.inputs.job import BlankJob, Job
from blankcam.instrument.heights import Instrument, StringPath
from blankcam.parts import silhouette
from blankcam.parts.curve import Array, Chain
from blankcam.parts.fit import Fit, fit, fitted_thickness
from blankcam.parts.frames import ReferenceSurface
from blankcam.parts.part import Feature, FeatureKind, features_of
from blankcam.parts.resting import Crossing, resting_faults
from blankcam.parts.saddle_slot import SaddleSlot, saddle_slot
from blankcam.parts.silhouette import round_ended, straight_ended
from blankcam.parts.slot import Slot
from blankcam.parts.stage import Stage
from blankcam.parts.surface import CrownSurface
from blankcam.parts.top_curve import ArcCurve, Curve, RaisedCurve, SmoothCurve, fit_arc

CENTS_PER_RATIO = 1200 / np.log(2)  # of a small change of length


@dataclass(frozen=True, slots=True, kw_only=True)
class Seat:
    """Where one string crosses the saddle."""

    string: int
    note: str
    centre: float
    """x of the crossing."""
    height: float
    """Wanted height of the ridge there, over the seat's floor."""
    compensation: float
    """Ridge really cut, beyond the nominal scale length."""
    wanted_compensation: float
    ridge: float
    """y of the ridge."""
    residual: float
    """Height of the finished top there less the wanted height."""
    cents: float
    """Error at fret 12 because the ridge can't be where it is wanted; positive is sharp."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Saddle:
    """The whole saddle."""

    length: float
    thickness: float
    fit: Fit
    top: Curve
    """Height of the finished ridge along x."""
    top_radius: float | None
    """Of the finished top where it is the board's arc; infinite when flat, None per string."""
    ridge: SmoothCurve
    """y of the ridge along x."""
    slot: SaddleSlot
    """Where it stands on the instrument."""
    crown_radius: float
    ends: str
    """``round`` (full round in plan) or ``square``."""
    strings: tuple[Seat, ...]
    allowance: float
    name: str = "saddle"

    @property
    def slots(self) -> tuple[Slot, ...]:
        """A saddle has none."""
        return ()

    @property
    def features(self) -> tuple[Feature, ...]:
        """What is made of it, in working order."""
        ends = (FeatureKind.ENDS,) if self.ends == "round" else ()
        kinds = (FeatureKind.THICKNESS, FeatureKind.OUTLINE, FeatureKind.CROWN, *ends)
        return tuple(features_of(*kinds))

    @property
    def top_feature(self) -> FeatureKind:
        """What bringing out its top is called."""
        return FeatureKind.CROWN

    @property
    def seen_side(self) -> ReferenceSurface:
        """The side that is seen from the bridge, where y is 0."""
        return ReferenceSurface.TAIL_SIDE

    @property
    def height(self) -> float:
        """The finished saddle at its highest."""
        return float(np.max(self.top.height(np.linspace(0.0, self.length, 4001))))

    def at(self, stage: Stage) -> SaddleTarget:
        """What that stage is to leave of it."""
        return SaddleTarget(saddle=self, raised=stage.left(self.allowance))

    def elevation(self) -> Chain:
        """The finished saddle's closed outline seen from the bridge."""
        return self.at(Stage.FINAL).elevation()

    def plan(self) -> Chain:
        """Its closed outline from above."""
        ended = straight_ended if self.ends == "square" else round_ended
        return ended(self.length, self.thickness)

    def covers(self, x: Array, y: Array) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
        """Whether a place lies in the part's plan."""
        inside = (x >= 0) & (x <= self.length) & (y >= 0) & (y <= self.thickness)
        if self.ends == "square":
            return np.asarray(inside)
        r = self.thickness / 2
        past = np.maximum(np.maximum(r - x, x - (self.length - r)), 0.0)
        return np.asarray(inside & (past**2 + (y - r) ** 2 <= r**2))


@dataclass(frozen=True, slots=True, kw_only=True)
class SaddleTarget:
    """What a stage is to leave of a saddle; a ``Target``."""

    saddle: Saddle
    raised: float
    """How much higher than finished its top stands."""

    @property
    def ridge(self) -> float:
        """None: strings that lie on a rough crown's ridges would falsify what is read there."""
        return 0.0

    @property
    def floor_raise(self) -> float:
        """A saddle has no floors."""
        return 0.0

    @property
    def opened(self) -> float:
        """Nothing is opened over a saddle."""
        return self.raised

    @property
    def slots(self) -> tuple[Slot, ...]:
        """A saddle has none."""
        return ()

    @property
    def top(self) -> Curve:
        """Its top over the ridge."""
        return RaisedCurve(base=self.saddle.top, by=self.raised)

    @property
    def surface(self) -> CrownSurface:
        """Its crown over the plan and beyond."""
        saddle = self.saddle
        return CrownSurface(
            top=saddle.top,
            ridge=saddle.ridge,
            length=saddle.length,
            section_radius=saddle.crown_radius,
            raised=self.raised,
        )

    def lower(self, x: Array, y: Array) -> Array:
        """Nothing may be cut below this; -inf outside the plan. Shapes of x and y broadcast."""
        x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
        saddle = self.saddle
        off = np.clip(y, 0.0, saddle.thickness) - saddle.ridge.height(x)
        square = off * off
        fall = square / (saddle.crown_radius + np.sqrt(saddle.crown_radius**2 - square))
        return np.where(saddle.covers(x, y), self.top.height(x) - fall, -np.inf)

    def upper(self, x: Array, y: Array, milled: frozenset[int]) -> Array:
        """Nothing may be left above this; +inf outside the plan. ``milled`` has no meaning here."""
        del milled
        lower = self.lower(x, y)
        return np.where(np.isinf(lower), np.inf, lower)

    def uncut(self, x: Array, y: Array) -> Array:
        """Its crown; +inf outside the plan."""
        return self.upper(x, y, frozenset())

    def elevation(self) -> Chain:
        """The whole saddle as a closed outline seen from the bridge."""
        return silhouette.elevation(self.saddle.top, self.saddle.length, self.raised)


def thickness_of(job: Job, blank: BlankJob) -> float:
    """Thickness the saddle will have from a blank."""
    return fitted_thickness(fit(job.saddle.slot_width, job.blanks.fit), blank.thickness)


def reached_compensation(
    job: Job, instrument: Instrument, blank: BlankJob, wanted: tuple[float, ...]
) -> tuple[float, ...]:
    """The compensation at the ridge really cut, for those wanted.

    The ridge keeps as far from both faces as data/limits.toml says.
    """
    slot, thickness = saddle_slot(job.saddle.front_at, instrument), thickness_of(job, blank)
    keep, scale = table("limits")["saddle"]["ridge"], instrument.board.scale

    def reached(u: float, compensation: float) -> float:
        ridge = slot.ridge(u, scale + compensation, thickness)
        return slot.at_ridge(u, float(np.clip(ridge, keep, thickness - keep)), thickness) - scale

    return tuple(reached(s.u_saddle, b) for s, b in zip(instrument.strings, wanted, strict=True))


def build(job: Job, instrument: Instrument, blank: BlankJob, wanted: tuple[float, ...]) -> Saddle:
    """The saddle of a job from its blank.

    Parameters
    ----------
    instrument : with its heights solved at the compensation really reached
    wanted : compensation asked for, mm, a string each

    Raises
    ------
    RefusedError
        With every reason why it must not be cut so.
    """
    saddle = shaped(job, instrument, blank, wanted)
    if faults := refusals(job, instrument, saddle):
        raise RefusedError(faults)
    return saddle


def refusals(job: Job, instrument: Instrument, saddle: Saddle) -> list[Fault]:
    """Every reason why a saddle must not be cut as it is shaped."""
    return [*_resting(job, instrument, saddle), *_refusals(job.path, saddle)]


def shaped(job: Job, instrument: Instrument, blank: BlankJob, wanted: tuple[float, ...]) -> Saddle:
    """The saddle as the job asks for it, whether it may be cut or not; parameters as of
    ``build``.
    """
    thickness = thickness_of(job, blank)
    length = job.saddle.slot_length - job.saddle.end_clearance
    slot = saddle_slot(job.saddle.front_at, instrument)
    places = [
        slot.to_part(s.u_saddle, s.ridge, length=length, thickness=thickness)
        for s in instrument.strings
    ]
    centres, ridges = (np.array(v) for v in zip(*places, strict=True))
    heights = np.array([s.z_saddle for s in instrument.strings]) - instrument.saddle_floor
    order = np.argsort(centres)
    ridge = SmoothCurve(xs=tuple(centres[order]), zs=tuple(ridges[order]), level_ends=True)
    top = _top(job, instrument, slot, centres, heights)
    seats = tuple(
        _seat(string, x, h, y, top, wanted=b)
        for string, x, h, y, b in zip(
            instrument.strings, centres, heights, ridges, wanted, strict=True
        )
    )
    return Saddle(
        length=length,
        thickness=thickness,
        fit=fit(job.saddle.slot_width, job.blanks.fit),
        top=top,
        top_radius=top.radius if isinstance(top, ArcCurve) else None,
        ridge=ridge,
        slot=slot,
        crown_radius=job.saddle.crown_radius or fitted_crown(ridge, length, thickness),
        ends=job.saddle.slot_ends,
        strings=seats,
        allowance=job.saddle.allowance,
    )


def _top(
    job: Job, instrument: Instrument, slot: SaddleSlot, centres: Array, heights: Array
) -> ArcCurve | SmoothCurve:
    """The board's arc as it lies along the slot, or a curve through every string's height.

    Cut at an angle, a cylinder is an ellipse: at its top its radius is R / cos² of the angle.
    """
    if job.saddle.top == "per string":
        order = np.argsort(centres)
        return SmoothCurve(xs=tuple(centres[order]), zs=tuple(heights[order]))
    board = instrument.board
    over_frets = [
        s.z_saddle - float(board.wood(board.scale, s.u_saddle)) - board.fret_height
        for s in instrument.strings
    ]
    radius = board.radius(board.scale) + board.fret_height + float(np.mean(over_frets))
    length = job.saddle.slot_length - job.saddle.end_clearance
    return fit_arc(centres, heights, radius / math.cos(slot.angle) ** 2, length / 2)


def fitted_crown(ridge: SmoothCurve, length: float, thickness: float) -> float:
    """The crown's radius where the job gives none: wide enough for the face furthest from the
    ridge.

    Rounded up to a tenth of a millimetre.
    """
    limits = table("limits")["saddle"]
    radius = max(limits["crown_least"], limits["crown_room"] * _reach(ridge, length, thickness))
    return float(math.ceil(radius * 10 - 1e-9)) / 10


def _reach(ridge: SmoothCurve, length: float, thickness: float) -> float:
    """The greatest distance of a face from the ridge."""
    y = ridge.height(np.linspace(0.0, length, 2001))
    return float(np.max(np.maximum(y, thickness - y)))


def _seat(
    string: StringPath, x: float, height: float, ridge: float, top: Curve, *, wanted: float
) -> Seat:
    return Seat(
        string=string.number,
        note=string.note,
        centre=float(x),
        height=float(height),
        compensation=string.compensation,
        wanted_compensation=wanted,
        ridge=float(ridge),
        residual=float(top.height(np.array(x))) - float(height),
        cents=float(
            CENTS_PER_RATIO * (wanted - string.compensation) / (string.ridge - string.compensation)
        ),
    )


def has_crown(saddle: Saddle) -> bool:
    """Whether the crown's radius reaches both faces, so that there is a top to draw."""
    return _reach(saddle.ridge, saddle.length, saddle.thickness) < saddle.crown_radius


def _resting(job: Job, instrument: Instrument, saddle: Saddle) -> Iterator[Fault]:
    crossings = [
        Crossing(string=s.string, note=s.note, gauge=p.gauge, centre=s.centre)
        for s, p in zip(saddle.strings, instrument.strings, strict=True)
    ]
    yield from resting_faults(
        job.path, saddle.name, saddle.length, crossings,
        key="saddle.string_span",
        fix=f"check string_span against slot_length ({job.saddle.slot_length:g} mm)",
    )  # fmt: skip


def _refusals(path: str, saddle: Saddle) -> Iterator[Fault]:
    limits = table("limits")["saddle"]
    x = np.linspace(0.0, saddle.length, 2001)
    reach = _reach(saddle.ridge, saddle.length, saddle.thickness)
    if reach > limits["steepest"] * saddle.crown_radius:
        yield Fault(
            where=path,
            key="saddle.crown_radius",
            wrong=f"{saddle.crown_radius:g} mm is too small: a face lies {reach:.2f} mm from the "
            "ridge and the crown would fall too steeply",
            fix=f"at least {reach / limits['steepest']:.2f} mm",
        )
        return
    lowest = float(np.min(saddle.at(Stage.FINAL).lower(x, saddle.thickness / 2 + 0 * x)[1:-1]))
    if lowest < limits["floor"]:
        yield Fault(
            where=path,
            key="saddle.slot_depth",
            wrong=f"the saddle would be {lowest:.2f} mm high at its lowest, "
            f"under {limits['floor']} mm",
            fix="check fret_line, slot_depth and action",
        )
