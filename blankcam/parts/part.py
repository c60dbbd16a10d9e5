"""What all parts have in common: their stages, their features, and what each stage is to leave."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import Protocol

from blankcam.parts.curve import Array, Chain
from blankcam.parts.fit import Fit
from blankcam.parts.frames import ReferenceSurface
from blankcam.parts.slot import Slot
from blankcam.parts.stage import Stage
from blankcam.parts.surface import PartSurface
from blankcam.parts.top_curve import Curve


class FeatureKind(StrEnum):
    """What is made of a part, in working order."""

    THICKNESS = "thickness"
    OUTLINE = "outline"
    TOP = "top"
    FRONT = "front"  # of a nut, cut back around a slot
    WASTE = "clear"  # over a slot
    SLOT = "slots"
    CROWN = "crown"
    ENDS = "ends"


@dataclass(frozen=True, slots=True, kw_only=True)
class Feature:
    """One thing to be made of a part."""

    kind: FeatureKind
    string: int | None = None
    """The string that a slot, the waste over it, or the front cut back at it belongs to."""


class Target(Protocol):
    """What a stage is to leave of a part; nothing else need compare stages."""

    @property
    def raised(self) -> float:
        """How much higher than the finished top its top stands, mm."""

    @property
    def ridge(self) -> float:
        """How high ridges may stand on its top where the hand takes them off later, mm."""

    @property
    def floor_raise(self) -> float:
        """How much higher than finished its slots' floors stand, mm."""

    @property
    def opened(self) -> float:
        """How much higher than the finished top waste stands once it is opened over a slot, mm."""

    @property
    def top(self) -> Curve:
        """Its top along x: a nut's at the front, a saddle's over its ridge."""

    @property
    def slots(self) -> tuple[Slot, ...]:
        """Its slots, their floors as the stage leaves them."""

    @property
    def surface(self) -> PartSurface:
        """Its top over the plan and beyond, slots aside."""

    def lower(self, x: Array, y: Array) -> Array:
        """Nothing may be cut below this; -inf outside the plan. Shapes of x and y broadcast."""

    def upper(self, x: Array, y: Array, milled: frozenset[int]) -> Array:
        """Nothing may be left above this; +inf outside the plan.

        ``milled``: numbers of the strings whose slots are to be cut to the stage's floor; the
        others are left to the file.
        """

    def uncut(self, x: Array, y: Array) -> Array:
        """Its top with nothing cut into it; +inf outside the plan."""

    def elevation(self) -> Chain:
        """The whole part as a closed outline, slots aside, seen from the bridge."""


class Part(Protocol):
    """A part as a solid, in its own frame; the values are those of the finished part, in mm."""

    @property
    def name(self) -> str:
        """What it is called: ``nut`` or ``saddle``."""

    @property
    def length(self) -> float:
        """Along x."""

    @property
    def thickness(self) -> float:
        """Along y."""

    @property
    def height(self) -> float:
        """At its highest."""

    @property
    def fit(self) -> Fit:
        """How it sits in its seat."""

    @property
    def top(self) -> Curve:
        """Its top along x."""

    @property
    def top_radius(self) -> float | None:
        """Of its top along x; infinite for a straight one, None where no one radius fits it."""

    @property
    def slots(self) -> tuple[Slot, ...]:
        """From the bass side; a saddle has none."""

    @property
    def allowance(self) -> float:
        """What stage rough leaves on its top."""

    @property
    def features(self) -> tuple[Feature, ...]:
        """What is made of it, in working order."""

    @property
    def seen_side(self) -> ReferenceSurface:
        """The side that is seen from the bridge, where y is 0."""

    @property
    def top_feature(self) -> FeatureKind:
        """What bringing out its top is called."""

    def at(self, stage: Stage) -> Target:
        """What that stage is to leave of it."""

    def elevation(self) -> Chain:
        """Its closed outline seen from the bridge, slots aside."""

    def plan(self) -> Chain:
        """Its closed outline from above: x to the right, y toward the head."""


def features_of(*kinds: FeatureKind, slots: tuple[Slot, ...] = ()) -> Iterator[Feature]:
    """A part's features; those that belong to a slot once for each."""
    for kind in kinds:
        if kind is FeatureKind.FRONT:
            yield from (Feature(kind=kind, string=s.string) for s in slots if s.step is not None)
        elif kind in (FeatureKind.WASTE, FeatureKind.SLOT):
            yield from (Feature(kind=kind, string=s.string) for s in slots)
        else:
            yield Feature(kind=kind)
