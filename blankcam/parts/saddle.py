"""The saddle as a solid: a rounded crown along its ridge line, over its plan.

Part frame: x right from the left end, y toward the head from the face that looks to the tail,
z up from the floor of the seat. The face toward the nut is at y = thickness.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from blankcam.data import table
from blankcam.faults import Fault, RefusedError
from blankcam.inputs.job import Job
from blankcam.instrument.heights import Instrument, StringPath
from blankcam.parts.curve import Array
from blankcam.parts.fit import Fit, fit
from blankcam.parts.part import Stage
from blankcam.parts.top_curve import ArcCurve, Curve, SmoothCurve, fit_arc

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
    crown_radius: float
    ends: str
    """``round`` (full round in plan) or ``square``."""
    strings: tuple[Seat, ...]
    allowance: float
    name: str = "saddle"

    @property
    def height(self) -> float:
        """The finished saddle at its highest."""
        return float(np.max(self.top.height(np.linspace(0.0, self.length, 4001))))

    def surface(self, x: Array, y: Array, stage: Stage) -> Array:
        """Top of the part of that stage over the plan, wherever x and y are."""
        raised = self.allowance if stage is Stage.ROUGH else 0.0
        off = y - self.ridge.height(x)
        fall = off**2 / (self.crown_radius + np.sqrt(self.crown_radius**2 - off**2))
        return np.asarray(self.top.height(x) + raised - fall)

    def lower(self, x: Array, y: Array, stage: Stage) -> Array:
        """Nothing may be cut below this; −inf outside the plan. Shapes of x and y broadcast."""
        x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
        inside = np.clip(y, 0.0, self.thickness)
        return np.where(self.covers(x, y), self.surface(x, inside, stage), -np.inf)

    def upper(self, x: Array, y: Array, stage: Stage, milled: frozenset[int]) -> Array:
        """Nothing may be left above this; +inf outside the plan. ``milled`` has no meaning here."""
        del milled
        lower = self.lower(x, y, stage)
        return np.where(np.isinf(lower), np.inf, lower)

    def covers(self, x: Array, y: Array) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
        """Whether a place lies in the part's plan."""
        inside = (x >= 0) & (x <= self.length) & (y >= 0) & (y <= self.thickness)
        if self.ends == "square":
            return np.asarray(inside)
        r = self.thickness / 2
        past = np.maximum(np.maximum(r - x, x - (self.length - r)), 0.0)
        return np.asarray(inside & (past**2 + (y - r) ** 2 <= r**2))


def reachable(job: Job, compensation: float, thickness: float) -> float:
    """Place y of a ridge, kept as far from both faces as data/limits.toml says."""
    keep = table("limits")["saddle"]["ridge"]
    ridge = thickness - (job.instrument.scale + compensation - job.saddle.front_at)
    return float(np.clip(ridge, keep, thickness - keep))


def thickness_of(job: Job) -> float:
    """Thickness the saddle will have: the fit's target, or the blank where it is thinner."""
    return min(fit(job.saddle.slot_width, job.blanks.fit).target, job.blanks.saddle.thickness)


def reached_compensation(job: Job, wanted: tuple[float, ...]) -> tuple[float, ...]:
    """The compensation at the ridge really cut, for that wanted, mm a string."""
    thickness = thickness_of(job)
    ridges = (reachable(job, b, thickness) for b in wanted)
    return tuple(thickness - y + job.saddle.front_at - job.instrument.scale for y in ridges)


def build(job: Job, instrument: Instrument, wanted: tuple[float, ...]) -> Saddle:
    """The saddle of a job.

    Parameters
    ----------
    instrument : with its heights solved at the compensation really reached
    wanted : compensation asked for, mm, a string each

    Raises
    ------
    RefusedError
        With every reason why it must not be cut so.
    """
    thickness = thickness_of(job)
    length = job.saddle.slot_length - job.saddle.end_clearance
    centres = np.array([s.u_saddle for s in instrument.strings]) + length / 2
    heights = np.array([s.z_saddle for s in instrument.strings]) - instrument.saddle_floor
    ridges = [thickness - (s.length - job.saddle.front_at) for s in instrument.strings]
    order = np.argsort(centres)
    ridge = SmoothCurve(
        xs=tuple(centres[order]), zs=tuple(np.array(ridges)[order]), level_ends=True
    )
    top = _top(job, instrument, centres, heights)
    seats = tuple(
        _seat(string, x, h, y, top, wanted=b)
        for string, x, h, y, b in zip(
            instrument.strings, centres, heights, ridges, wanted, strict=True
        )
    )
    saddle = Saddle(
        length=length,
        thickness=thickness,
        fit=fit(job.saddle.slot_width, job.blanks.fit),
        top=top,
        top_radius=top.radius if isinstance(top, ArcCurve) else None,
        ridge=ridge,
        crown_radius=job.saddle.crown_radius,
        ends=job.saddle.slot_ends,
        strings=seats,
        allowance=job.saddle.allowance,
    )
    if faults := list(_refusals(job.path, saddle)):
        raise RefusedError(faults)
    return saddle


def _top(
    job: Job, instrument: Instrument, centres: Array, heights: Array
) -> ArcCurve | SmoothCurve:
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
    return fit_arc(centres, heights, radius, length / 2)


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
        ridge=ridge,
        residual=float(top.height(np.array(x))) - float(height),
        cents=float(
            CENTS_PER_RATIO * (wanted - string.compensation) / (string.length - string.compensation)
        ),
    )


def _refusals(path: str, saddle: Saddle) -> Iterator[Fault]:
    limits = table("limits")["saddle"]
    x = np.linspace(0.0, saddle.length, 2001)
    ridge = saddle.ridge.height(x)
    reach = float(np.max(np.maximum(ridge, saddle.thickness - ridge)))
    if reach > limits["steepest"] * saddle.crown_radius:
        yield Fault(
            where=path,
            key="saddle.crown_radius",
            wrong=f"{saddle.crown_radius:g} mm is too small: a face lies {reach:.2f} mm from the "
            "ridge and the crown would fall too steeply",
            fix=f"at least {reach / limits['steepest']:.2f} mm",
        )
        return
    lowest = float(np.min(saddle.lower(x, saddle.thickness / 2 + 0 * x, Stage.FINAL)[1:-1]))
    if lowest < limits["floor"]:
        yield Fault(
            where=path,
            key="saddle.slot_depth",
            wrong=f"the saddle would be {lowest:.2f} mm high at its lowest, "
            f"under {limits['floor']} mm",
            fix="check fret_line, slot_depth and action",
        )
