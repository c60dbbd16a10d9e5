"""What is to be cut, from which blank, on which machine: all that process planning is asked."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from blankcam.inputs.job import PlanJob
from blankcam.inputs.machine import Profile
from blankcam.parts.frames import Box, Setup
from blankcam.parts.part import Part
from blankcam.parts.stage import Stage


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """What the programs of a request are called, and whose they are."""

    stem: str
    job: str
    """The instrument's name; hostile text."""
    job_digest: str
    readings_digest: str = ""
    """Of the readings that a refit goes by; empty for a part's first programs."""

    def program_stem(self, setup: Setup) -> str:
        """The name of a set-up's program without its ending; a refit has one set-up only."""
        return self.stem if self.readings_digest else f"{self.stem}-{setup}"


@dataclass(frozen=True, slots=True, kw_only=True)
class CutRequest:
    """One part to be cut from one blank."""

    part: Part
    blank: Box
    """As it comes under the cutter, in the part's frame; what lies below y 0 is milled off."""
    machine: Profile
    """With the job's holding laid over its own."""
    material: str
    stage: Stage
    wishes: PlanJob
    """What the job leaves to the machine and what to the hand."""
    label: Label
    turned: bool = False
    """The part lies upside down: its underside is cut."""
    given: Mapping[str, bytes | str] = field(default_factory=dict)
    """Programs to be proven in place of ours, by the name of their file."""
