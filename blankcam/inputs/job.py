"""The job as plain values: millimetres, radians, as the maker wrote it or its kind assumes it."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any, Literal

KINDS = ("classical", "steel-string", "electric", "bass", "ukulele", "mandolin", "banjo")
MAKES = ("plain steel", "wound steel", "nylon", "wound nylon", "fluorocarbon", "gut")
MATERIALS = (
    "bone",
    "phenolic laminate",
    "solid surface",
    "quartz composite",
    "hard plastic",
    "hardwood",
    "brass",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Graded:
    """A value from the bass to the treble side, linear over the outer strings' positions."""

    bass: float
    treble: float


PerString = Graded | tuple[float, ...]
"""Graded across, or one value a string from the bass side: the highest number first."""


@dataclass(frozen=True, slots=True, kw_only=True)
class InstrumentJob:
    """The ``[instrument]`` table."""

    name: str
    kind: str
    scale: float
    handed: str
    finger: float
    """How far behind the fret a finger presses, for the cents."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Radius:
    """The board's radius: equal at both ends for a cylinder, infinite for a flat board."""

    nut: float
    end: float
    end_at: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardJob:
    """The ``[board]`` table."""

    width_at_nut: float
    radius: Radius
    fret_height: float
    relief: float
    body_fret: int


@dataclass(frozen=True, slots=True, kw_only=True)
class StringJob:
    """One ``[[strings]]`` entry."""

    number: int
    """As the trade counts: 1 is the treble side's outermost."""
    note: str
    gauge: float
    make: str
    unit_weight: float | None
    """g/m."""
    stiffness: float | None
    """EA/T."""
    course: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class NutJob:
    """The ``[nut]`` table."""

    seat_width: float
    seat_drop: float | None
    """None only where the marked line is given in its place."""
    marked_line: Graded | None
    """The line marked along a rule on the frets, over the blank's underside, at the outer strings.
    """
    pencil: float
    """How far the pencil's middle stands over the rule."""
    margin_bass: float
    margin_treble: float
    margin_to: str
    spacing: str
    course_gap: float
    tilt: float
    first_fret: PerString | None
    third_fret: PerString | None
    """Gap over fret 1 with the string held at fret 3, in place of ``first_fret``."""
    lift: PerString | None
    clearance: float
    exposure: PerString
    allowance: float
    hold_back: float
    compensation: str | PerString


@dataclass(frozen=True, slots=True, kw_only=True)
class SaddleJob:
    """The ``[saddle]`` table."""

    slot_width: float
    slot_length: float
    slot_depth: float
    slot_ends: str
    front_at: Graded
    """Nut's front edge to the slot's front edge, at the outer strings."""
    string_span: float
    spacing: str
    course_gap: float
    fret_line: float
    action: PerString
    top: str
    compensation: str | PerString
    crown_radius: float | None
    """None: fitted to the saddle."""
    allowance: float
    end_clearance: float
    tie_height: float | None
    tie_run: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class BlankJob:
    """One blank as measured."""

    length: float
    height: float
    thickness: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BlanksJob:
    """The ``[blanks]`` table."""

    material: str
    fit: str
    nut: BlankJob | None
    """None: no nut is made."""
    saddle: BlankJob | None
    """None: no saddle is made."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanJob:
    """The ``[plan]`` table: which operations are the machine's, which the hand's."""

    machine: str
    outline: str
    thickness: str
    ends: str
    slots: str
    top: str = "mill"
    """A nut's, and"""
    crown: str = "mill"
    """a saddle's."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldJob:
    """How a blank is held, where the job says other than the machine profile; None: as there."""

    kind: str | None
    jaw_top: float | Literal["auto"] | None
    jaw_length: float | None
    face: str | None
    face_top: float | None
    clamp_reach: float | None
    clamp_width: float | None
    clamp_height: float | None

    @property
    def given(self) -> dict[str, Any]:
        """What the job says, by key."""
        return {k: v for k, v in asdict(self).items() if v is not None}


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldingJob:
    """The ``[holding]`` table."""

    both: HeldJob
    nut: HeldJob
    saddle: HeldJob

    def of(self, part: str) -> dict[str, Any]:
        """What the job says of one part, ``nut`` or ``saddle``, by key."""
        own: HeldJob = getattr(self, part)
        return self.both.given | own.given


@dataclass(frozen=True, slots=True, kw_only=True)
class UncertaintyJob:
    """The ``[uncertainty]`` table: standard deviations, mm; None: the typical value."""

    board: float | None
    seat: float | None
    fret_height: float | None
    relief: float | None
    fret_line: float | None
    front_at: float | None
    movement: float | None
    gauge: float | None
    tool: float | None
    machine: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """A whole job, checked."""

    path: str
    digest: str
    """Digest of its values: the same for the same job however it is laid out."""
    assumed: tuple[str, ...]
    """Key paths whose values come from the kind."""
    instrument: InstrumentJob
    board: BoardJob
    strings: tuple[StringJob, ...]
    nut: NutJob
    saddle: SaddleJob
    blanks: BlanksJob
    plan: PlanJob
    holding: HoldingJob
    uncertainty: UncertaintyJob

    @property
    def left_handed(self) -> bool:
        """Whether the bass strings lie on the right, seen from the front."""
        return self.instrument.handed == "left"
