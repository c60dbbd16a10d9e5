"""The instrument from its job: where each string runs, and the heights it must have at
both ends.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from blankcam.inputs.job import Job, PerString
from blankcam.instrument import spacing
from blankcam.instrument.board import Array, Board

FRETS = np.arange(1, 13)


@dataclass(frozen=True, slots=True, kw_only=True)
class StringPath:
    """One string, straight from the nut's front edge to the saddle's ridge."""

    number: int
    """As the trade counts: 1 is the treble's outermost string, n the bass's."""
    note: str
    course: int
    gauge: float
    make: str
    unit_weight: float | None
    stiffness: float | None
    u_nut: float
    u_saddle: float
    first_fret: float | None
    """Wanted clearance over fret 1; None where the job gives the lift."""
    third_fret: float | None
    """Wanted gap over fret 1 with the string held at fret 3; None where the job gives another."""
    lift: float
    """Underside at the front edge over the line of the fret tops there."""
    action: float
    """Wanted clearance over fret 12."""
    compensation: float
    """Ridge beyond the nominal scale length."""
    z_nut: float
    z_saddle: float
    length: float
    """Front edge to ridge along s."""
    front: float = 0.0
    """s of its front edge: how far nut compensation moves it toward the saddle."""

    @property
    def ridge(self) -> float:
        """S of its ridge."""
        return self.front + self.length

    def share(self, s: Array) -> Array:
        """How much of the way from its front edge to its ridge lies at s."""
        return np.asarray((s - self.front) / self.length)

    def across(self, s: Array) -> Array:
        """Place u of the string over s."""
        off = s - self.front
        return np.asarray(self.u_nut + (self.u_saddle - self.u_nut) * off / self.length)

    def underside(self, s: Array) -> Array:
        """Height z of the string's underside over s."""
        off = s - self.front
        return np.asarray(self.z_nut + (self.z_saddle - self.z_nut) * off / self.length)

    def clearance(self, board: Board, frets: Array) -> Array:
        """Height of the underside over the crown of each fret."""
        s = board.fret_at(frets)
        return self.underside(s) - board.fret_top(s, self.across(s))


@dataclass(frozen=True, slots=True, kw_only=True)
class Instrument:
    """Board and strings; heights in the instrument frame."""

    name: str
    kind: str
    left_handed: bool
    finger: float
    """How far behind the fret a finger presses."""
    board: Board
    strings: tuple[StringPath, ...]
    """From the bass side: string n first, string 1 last."""
    nut_floor: float
    """Floor of the nut's seat on the centre line."""
    nut_floor_slope: float
    """Its rise to the right, mm a mm: 0 unless a line was marked that is not level with the frets.
    """
    bridge_top: float
    saddle_floor: float
    """Floor of the saddle's seat."""


def nut_floor_at(instrument: Instrument, u: float) -> float:
    """Floor of the nut's seat at u."""
    return instrument.nut_floor + instrument.nut_floor_slope * u


def build(job: Job) -> Instrument:
    """The instrument of a job, every string's ridge still at its nominal scale length."""
    board = _board(job)
    fret_line = board.fret_height - job.saddle.fret_line
    paths = _strings(job, board)
    floor, slope = _nut_floor(job, board, paths)
    return Instrument(
        name=job.instrument.name,
        kind=job.instrument.kind,
        left_handed=job.left_handed,
        finger=job.instrument.finger,
        board=board,
        strings=paths,
        nut_floor=floor,
        nut_floor_slope=slope,
        bridge_top=fret_line,
        saddle_floor=fret_line - job.saddle.slot_depth,
    )


def _nut_floor(job: Job, board: Board, paths: Sequence[StringPath]) -> tuple[float, float]:
    """Floor of the nut's seat on the centre line, and its slope across.

    The marked line is the line of the fret tops at the nut over that floor. With it the depth of
    the seat and the height of the frets need not be known: what they are off by cancels.
    """
    line = job.nut.marked_line
    if line is None:
        return -(job.nut.seat_drop or 0.0), 0.0
    bass, treble = paths[0].u_nut, paths[-1].u_nut
    at_bass, at_treble = (
        float(board.fret_top(0.0, u)) - (mark - job.nut.pencil)
        for u, mark in ((bass, line.bass), (treble, line.treble))
    )
    slope = (at_treble - at_bass) / (treble - bass)
    return at_bass - slope * bass, slope


def marked_line_misfit(instrument: Instrument, seat_drop: float) -> tuple[float, float]:
    """How far the marked line lies over the one that seat_drop and fret height make,
    bass, treble.
    """
    bass, treble = (
        -seat_drop - nut_floor_at(instrument, instrument.strings[i].u_nut) for i in (0, -1)
    )
    return bass, treble


def gap_held_at_third_fret(board: Board, string: StringPath) -> float:
    """Gap between the string and fret 1 with the string held on fret 3."""
    s1, s3 = (float(board.fret_at(n)) for n in (1, 3))
    f1, f3 = (float(board.fret_top(s, string.across(np.array(s)))) for s in (s1, s3))
    return string.z_nut + (f3 - string.z_nut) * (s1 - string.front) / (s3 - string.front) - f1


def with_fronts(instrument: Instrument, fronts: Sequence[float]) -> Instrument:
    """The same instrument with every front edge moved, all heights solved anew.

    ``fronts``: s of each, mm; toward the saddle from the board's end.
    """
    if all(f == s.front for f, s in zip(fronts, instrument.strings, strict=True)):
        return instrument
    board = instrument.board
    strings = tuple(
        solve(board, replace(s, front=f, length=s.ridge - f))
        for s, f in zip(instrument.strings, fronts, strict=True)
    )
    return replace(instrument, strings=strings)


def with_compensation(instrument: Instrument, compensation: Sequence[float]) -> Instrument:
    """The same instrument with every ridge moved, all heights solved anew."""
    board = instrument.board
    strings = tuple(
        solve(board, replace(s, compensation=b, length=board.scale + b - s.front))
        for s, b in zip(instrument.strings, compensation, strict=True)
    )
    return replace(instrument, strings=strings)


def solve(board: Board, string: StringPath) -> StringPath:
    """The string with the heights at both ends that give its wanted clearances.

    y(n) = z_n + (z_s − z_n)·(s_n − f)/ℓ − z_f(s_n, u(s_n)) for frets 1 and 12 are two linear
    equations for z_n and z_s, the front edge at f; with the lift or the gap at fret 3 given, z_n is
    known and fret 12 gives z_s.
    """
    s1, s12 = (float(board.fret_at(n)) for n in (1, 12))
    f1, f12 = (float(board.fret_top(s, string.across(np.array(s)))) for s in (s1, s12))
    at_nut, front = float(board.fret_top(string.front, string.u_nut)), string.front
    t1, t12 = (s1 - front) / string.length, (s12 - front) / string.length
    if string.third_fret is not None:
        s3 = float(board.fret_at(3))
        f3 = float(board.fret_top(s3, string.across(np.array(s3))))
        held = (s1 - front) / (s3 - front)
        z_nut = (string.third_fret + f1 - f3 * (s1 - front) / (s3 - front)) / (1 - held)
    elif string.first_fret is None:
        z_nut = at_nut + string.lift
    else:
        y1, y12 = string.first_fret + f1, string.action + f12
        z_nut = (y1 * t12 - y12 * t1) / (t12 - t1)
    z_saddle = z_nut + (string.action + f12 - z_nut) / t12
    return replace(string, z_nut=z_nut, z_saddle=z_saddle, lift=z_nut - at_nut)


def per_string(value: PerString, places: Sequence[float]) -> tuple[float, ...]:
    """A value for every string: a list as it is, or graded over the strings' places."""
    if isinstance(value, tuple):
        return value
    return spacing.graded(value.bass, value.treble, places)


def _board(job: Job) -> Board:
    radius = job.board.radius
    flat = math.isinf(radius.nut)
    return Board(
        scale=job.instrument.scale,
        width_at_nut=job.board.width_at_nut,
        radius_at_nut=radius.nut,
        radius_slope=0.0 if flat else (radius.end - radius.nut) / radius.end_at,
        fret_height=job.board.fret_height,
        relief=job.board.relief,
        body_fret=job.board.body_fret,
    )


def _strings(job: Job, board: Board) -> tuple[StringPath, ...]:
    nut, saddle = job.nut, job.saddle
    courses = [s.course or s.number for s in job.strings]
    at_nut, at_saddle = _at_nut(job, board, courses), _at_saddle(job, courses)
    side = -1.0 if job.left_handed else 1.0
    u_nut = [side * (x - board.width_at_nut / 2) for x in at_nut]
    lifts = per_string(nut.lift, at_nut) if nut.lift is not None else None
    firsts = per_string(nut.first_fret, at_nut) if nut.first_fret is not None else None
    thirds = per_string(nut.third_fret, at_nut) if nut.third_fret is not None else None
    actions = per_string(saddle.action, at_saddle)
    made = [
        StringPath(
            number=s.number,
            note=s.note,
            course=courses[i],
            gauge=s.gauge,
            make=s.make,
            unit_weight=s.unit_weight,
            stiffness=s.stiffness,
            u_nut=u_nut[i],
            u_saddle=side * at_saddle[i],
            first_fret=firsts[i] if firsts else None,
            third_fret=thirds[i] if thirds else None,
            lift=lifts[i] if lifts else 0.0,
            action=actions[i],
            compensation=0.0,
            z_nut=0.0,
            z_saddle=0.0,
            length=job.instrument.scale,
        )
        for i, s in enumerate(job.strings)
    ]
    return tuple(solve(board, s) for s in made)


def _at_nut(job: Job, board: Board, courses: Sequence[int]) -> tuple[float, ...]:
    """Where the strings cross the nut, from its bass end, mm."""
    nut, gauges = job.nut, [s.gauge for s in job.strings]
    to_edge = nut.margin_to == "edge"
    first = nut.margin_bass + (gauges[0] / 2 if to_edge else 0.0)
    last = board.width_at_nut - nut.margin_treble - (gauges[-1] / 2 if to_edge else 0.0)
    return spacing.centres(
        gauges, courses, first, last, rule=nut.spacing, course_gap=nut.course_gap
    )


def _at_saddle(job: Job, courses: Sequence[int]) -> tuple[float, ...]:
    """Where they cross the saddle, from its middle toward the treble side, mm."""
    saddle, gauges = job.saddle, [s.gauge for s in job.strings]
    half = saddle.string_span / 2
    return spacing.centres(
        gauges, courses, -half, half, rule=saddle.spacing, course_gap=saddle.course_gap
    )
