"""Every computed number of a job, shown before anything is cut; and the machines there are."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from blankcam.faults import Fault, RefusedError
from blankcam.inputs import job_file
from blankcam.inputs.job import Job
from blankcam.inputs.machine import Kind, Profile
from blankcam.inputs.machine_file import read_profile, shipped
from blankcam.outputs.papers import next_steps
from blankcam.outputs.render import records
from blankcam.outputs.rows import Section
from blankcam.outputs.tables import layout as layout_tables
from blankcam.outputs.tables import report
from blankcam.parts.design import Design, design
from blankcam.parts.part import Stage
from blankcam.workflows.request import blank_as_cut, machine_of, requests_of

if TYPE_CHECKING:
    from blankcam.machining.decision import Decision
    from blankcam.toolpath.moves import Program


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """Every computed number of a job, ready to be shown."""

    sections: tuple[Section, ...]
    report_text: str


def layout(
    job_path: str,
    machine: str | None,
    stage: Stage,
    *,
    scatter: bool = False,
    feeds: bool = False,
) -> Layout:
    """Work a job out and lay its numbers out; raises as reading and designing do.

    ``scatter`` adds what the measurements' uncertainty does, ``feeds`` how each operation cuts.
    """
    job = job_file.load(job_path)
    profile = machine_of(job, machine)
    found = design(job)
    choices = slot_decisions(found, profile, stage)
    found = _with_cautions(found, foreseen(found, profile, stage))
    content = report.report(found, stage=stage, machine=profile.name, choices=choices)
    refused = (f"make will refuse it: {f}" for f in refusals(found, profile, stage))
    drawn_so = (*refused, *_drawing_cautions(job, profile))
    sections = list(layout_tables.sections(_with_cautions(found, drawn_so), choices))
    if scatter:
        from blankcam.instrument.uncertainty import scatter as drawn

        sections += layout_tables.scattered(drawn(job, found.instrument))
    if feeds:
        from blankcam.outputs.tables import machine_work

        sections += machine_work.sections(_planned(found, profile, stage), profile)
    sections.append(
        Section(title="Next", verbatim=True, notes=tuple(_onward(found, profile, machine)))
    )
    return Layout(sections=tuple(sections), report_text=records.render(content))


def _with_cautions(found: Design, more: Sequence[str]) -> Design:
    return dataclasses.replace(found, cautions=(*found.cautions, *more))


def _drawing_cautions(job: Job, profile: Profile) -> tuple[str, ...]:
    """What the drawings will be told with, and whether ``make`` will refuse them."""
    from blankcam.outputs.drawings.cut_offset import drawing_cautions, offset_for

    said = drawing_cautions(profile.drawing.release, offset_for(profile))
    if profile.kind is not Kind.LASER:
        return said
    from blankcam.safety import laser_cautions

    try:
        return (*said, *laser_cautions(job.path, job.blanks.material))
    except RefusedError as refused:
        return (*said, *(f"make will refuse it: {fault}" for fault in refused.faults))


def _onward(found: Design, profile: Profile, machine: str | None) -> Iterator[str]:
    measured = not any(key in found.job.assumed for key in job_file.MEASURED)
    yield from next_steps.after_layout(
        found.job, profile, machine, measured=measured, cautions=len(found.cautions)
    )


def _planned(found: Design, profile: Profile, stage: Stage) -> list[Program]:
    """The programs of both parts, planned only."""
    requests = requests_of(found, profile, stage)
    if not requests:
        return []
    from blankcam.toolpath import build

    return [p for request in requests for p in build.plan(request).programs]


def slot_decisions(found: Design, profile: Profile, stage: Stage) -> dict[int, Decision]:
    """Who makes each slot and why, without planning the rest, by the number of its string."""
    from blankcam.machining import setup_sheet, slots

    nut, material = found.nut, found.job.blanks.material
    blank = dataclasses.replace(found.job.blanks.nut, thickness=nut.thickness)
    by_file = found.job.plan.slots != "mill" or not profile.cuts_programs
    on = setup_sheet.set_up(nut.length, blank, profile, material, stage)
    return {d.string: d for d in slots.chosen(nut, on, by_file=by_file)}


def foreseen(found: Design, profile: Profile, stage: Stage) -> tuple[str, ...]:
    """What the plans of both parts will caution, without planning them."""
    if not profile.cuts_programs:
        return ()
    from blankcam.machining import foreseen as ahead

    material, by = found.job.blanks.material, found.job.plan
    said = (
        ahead.cautions(part, blank_as_cut(found, part), profile, material, stage, by)
        for part in (found.nut, found.saddle)
    )
    return tuple(dict.fromkeys(caution for part in said for caution in part))


def refusals(found: Design, profile: Profile, stage: Stage) -> tuple[Fault, ...]:
    """Why the plans of both parts will be refused.

    Without planning, but where only the moves would tell.
    """
    if not profile.cuts_programs:
        return ()
    from blankcam.machining import foreseen as ahead

    material, by = found.job.blanks.material, found.job.plan
    each = [
        (part, blank_as_cut(found, part), profile, material, stage, by)
        for part in (found.nut, found.saddle)
    ]
    told = tuple(fault for asked in each for fault in ahead.refusals(*asked))
    if told or not any(ahead.may_be_more(*asked) for asked in each):
        return told
    from blankcam.toolpath import build

    requests = requests_of(found, profile, stage)
    return tuple(fault for request in requests for fault in _refused(build.plan, request))


def _refused(work: Callable[..., object], *on: object) -> tuple[Fault, ...]:
    """Why a piece of work is refused, if it is."""
    try:
        work(*on)
    except RefusedError as refused:
        return refused.faults
    return ()


def picture(job_path: str, width: int, *, plain: bool) -> list[str]:
    """Both parts as lines of characters no wider than ``width``."""
    from blankcam.outputs.drawings import picture as pictures

    job = job_file.load(job_path)
    found = design(job)
    return pictures.lines(
        found.nut, found.saddle, width, bass_left=not job.left_handed, plain=plain
    )


def machines(name: str | None) -> tuple[Section, ...]:
    """The machines that come along, or one checked and shown."""
    from blankcam.outputs.tables import machines as tables

    if name is not None:
        return tables.machine(read_profile(name))
    return tables.machines({n: read_profile(n) for n in shipped()})
