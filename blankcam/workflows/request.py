"""From a job worked out to what is asked of the machine: a request a part."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from blankcam.faults import Fault, InputError
from blankcam.inputs.job import BlankJob, Job
from blankcam.inputs.machine import Holding, Profile
from blankcam.inputs.machine_file import read_profile
from blankcam.inputs.machine_schema import PAPERS, RELEASES
from blankcam.inputs.units import Units
from blankcam.machining import thickness
from blankcam.machining.request import CutRequest, Label
from blankcam.parts.design import Design
from blankcam.parts.frames import Box
from blankcam.parts.part import Part
from blankcam.parts.stage import Stage


def machine_of(job: Job, machine: str | None) -> Profile:
    """The machine profile asked for, with what the job says of holding both parts laid over it."""
    if machine is not None:
        return _holding(read_profile(machine), job.holding.both.given)
    named = read_profile(_beside(job), where=job.path, key="plan.machine")
    return _holding(named, job.holding.both.given)


def _beside(job: Job) -> str:
    """The machine that a job names: a path is looked for beside the job first, then from here."""
    name = job.plan.machine
    beside = Path(job.path).parent / name
    return str(beside) if name.endswith(".toml") and beside.is_file() else name


def machine_for(part: str, job: Job, profile: Profile) -> Profile:
    """A machine with what the job says of holding one part laid over its own holding."""
    return _holding(profile, job.holding.of(part))


def _holding(profile: Profile, given: Mapping[str, Any]) -> Profile:
    held: Holding = dataclasses.replace(profile.holding, **given)
    return dataclasses.replace(profile, holding=held)


def drawn_as(
    profile: Profile,
    *,
    release: str | None = None,
    paper: str | None = None,
    units: Units | None = None,
) -> Profile:
    """The profile with what the command says of drawings laid over it.

    Raises
    ------
    InputError
        For a release or paper that is not known.
    """
    for name, value, allowed in (("release", release, RELEASES), ("paper", paper, PAPERS)):
        if value is not None and value not in allowed:
            fix = f"use one of {', '.join(allowed)}"
            raise InputError(Fault(where=f"--{name}", found=value, wrong="not known", fix=fix))
    wanted = profile.drawing
    drawing = dataclasses.replace(
        wanted,
        release=release or wanted.release,
        paper=paper or wanted.paper,
        units=units or wanted.units,
    )
    return dataclasses.replace(profile, drawing=drawing)


def request_of(found: Design, name: str, machine: Profile, stage: Stage) -> CutRequest:
    """A part of a job, to be cut from the job's blank for it; ``name``: nut or saddle."""
    part = next(p for p in found.parts if p.name == name)
    job = found.job
    return CutRequest(
        part=part,
        blank=box_of(blank_as_cut(found, part), part),
        machine=machine_for(name, job, machine),
        material=job.blanks.material,
        stage=stage,
        wishes=job.plan,
        label=Label(stem=name, job=job.instrument.name, job_digest=job.digest),
    )


def requests_of(found: Design, machine: Profile, stage: Stage) -> tuple[CutRequest, ...]:
    """Every part of a job, where its machine takes programs."""
    if not machine.cuts_programs:
        return ()
    return tuple(request_of(found, name, machine, stage) for name in (p.name for p in found.parts))


def blank_as_cut(found: Design, part: Part) -> BlankJob:
    """The blank as it comes under the cutter: rubbed to its thickness first, where by hand."""
    blank: BlankJob = getattr(found.job.blanks, part.name)
    if found.job.plan.thickness == "mill" and thickness.needed(part, blank.thickness):
        return blank
    return dataclasses.replace(blank, thickness=part.thickness)


def box_of(blank: BlankJob, part: Part) -> Box:
    """A blank in its part's frame; what is to be milled off its face lies below y 0."""
    over = (blank.length - part.length) / 2
    return Box(
        x0=-over,
        x1=part.length + over,
        y0=part.thickness - blank.thickness,
        y1=part.thickness,
        z0=0.0,
        z1=blank.height,
    )
