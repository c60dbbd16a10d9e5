"""Every computed number of a job, shown before anything is cut; and the machines there are."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from blankcam.faults import Fault, RefusedError
from blankcam.inputs import job_file
from blankcam.inputs.job import Job
from blankcam.inputs.machine import MachineKind, Profile
from blankcam.inputs.machine_file import read_profile, shipped
from blankcam.outputs.papers import next_steps
from blankcam.outputs.render import records
from blankcam.outputs.rows import Section
from blankcam.outputs.tables import layout as layout_tables
from blankcam.outputs.tables import report
from blankcam.parts.design import Design, drafted
from blankcam.parts.part import FeatureKind
from blankcam.parts.stage import Stage
from blankcam.workflows.request import machine_of, requests_of

if TYPE_CHECKING:
    from blankcam.machining.decide import Decided
    from blankcam.machining.decision import Decision
    from blankcam.toolpath.moves import Program


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """Every computed number of a job, ready to be shown."""

    sections: tuple[Section, ...]
    report_text: str
    refused: tuple[Fault, ...]
    """Why the job must not be made so, whatever the machine; each stands among the cautions too."""


def layout(
    job_path: str,
    machine: str | None,
    stage: Stage,
    *,
    scatter: bool = False,
    feeds: bool = False,
) -> Layout:
    """Work a job out and lay its numbers out, as far as there are any; raises as reading does.

    What make will refuse stands beside the numbers. ``scatter`` adds what the measurements'
    uncertainty does, ``feeds`` how each operation cuts; neither is of use for a job that is
    refused.
    """
    job = job_file.load(job_path)
    profile = machine_of(job, machine)
    found, wrong = drafted(job)
    parts = decided(found, profile, stage)
    said, unfit = _drawing_cautions(job, profile)
    refused = [str(f) for f in (*wrong, *(f for part in parts for f in part.faults), *unfit)]
    found = _with_cautions(found, (*_cautions(parts), *said))
    sections = [*_tables(found, profile, stage, parts, refused)]
    content = _content(found, profile, stage, parts, refused)
    if scatter and not wrong:
        from blankcam.instrument.uncertainty import scatter as drawn

        spread = drawn(job, found.instrument)
        content["scatter"] = dataclasses.asdict(spread)
        sections += layout_tables.scattered(spread)
    if feeds and not wrong:
        from blankcam.outputs.tables import machine_work

        sections += machine_work.sections(_planned(found, profile, stage), profile)
    sections.append(
        Section(title="Next", verbatim=True, notes=tuple(_onward(found, profile, machine, refused)))
    )
    return Layout(sections=tuple(sections), report_text=records.render(content), refused=wrong)


def _cautions(parts: Sequence[Decided]) -> tuple[str, ...]:
    """What the maker is told of how the machine makes the parts."""
    return tuple(dict.fromkeys(c for p in parts for c in p.cautions)) + _hand_work(parts)


def _tables(
    found: Design,
    profile: Profile,
    stage: Stage,
    parts: Sequence[Decided],
    refused: Sequence[str],
) -> tuple[Section, ...]:
    told = _with_cautions(found, [f"make will refuse it: {why}" for why in refused])
    choices = slot_decisions(found, profile, stage, parts)
    return layout_tables.sections(told, choices, _fronts(parts))


def _content(
    found: Design,
    profile: Profile,
    stage: Stage,
    parts: Sequence[Decided],
    refused: Sequence[str],
) -> dict[str, Any]:
    return report.report(
        found,
        stage=stage,
        machine=profile.name,
        choices=slot_decisions(found, profile, stage, parts),
        fronts=_fronts(parts),
        by_hand=[
            record
            for p in parts
            for record in report.hand_records(p.request.part.name, p.decisions)
        ],
        refusals=refused,
    )


def _fronts(parts: Sequence[Decided]) -> dict[int, Decision]:
    return {d.string: d for part in parts for d in part.by(FeatureKind.FRONT)}


def _with_cautions(found: Design, more: Sequence[str]) -> Design:
    return dataclasses.replace(found, cautions=(*found.cautions, *more))


def _hand_work(parts: Sequence[Decided]) -> tuple[str, ...]:
    """What the job gives to the machine and the hand must make."""
    from blankcam.outputs.reasons import left_to_the_hand

    return tuple(c for p in parts for c in left_to_the_hand(p.request.part.name, p.decisions))


def _drawing_cautions(job: Job, profile: Profile) -> tuple[tuple[str, ...], tuple[Fault, ...]]:
    """What the drawings will be told with, and why ``make`` will refuse them."""
    from blankcam.outputs.drawings.cut_offset import drawing_cautions, offset_for

    said = drawing_cautions(profile.drawing.release, offset_for(profile))
    if profile.kind is not MachineKind.LASER:
        return said, ()
    from blankcam.safety import laser_cautions

    try:
        return (
            *said,
            *laser_cautions(profile.path or profile.name, job.blanks.material, profile.stock),
        ), ()
    except RefusedError as refused:
        return said, refused.faults


def _onward(
    found: Design, profile: Profile, machine: str | None, refused: Sequence[str]
) -> Iterator[str]:
    measured = not any(key in found.job.assumed for key in job_file.MEASURED)
    yield from next_steps.after_layout(
        found.job,
        profile,
        machine,
        measured=measured,
        cautions=len(found.cautions),
        refused=len(refused),
    )


def _planned(found: Design, profile: Profile, stage: Stage) -> list[Program]:
    """The programs of both parts, planned only."""
    requests = requests_of(found, profile, stage)
    if not requests:
        return []
    from blankcam.toolpath import build

    return [p for request in requests for p in build.plan(request).programs]


def decided(found: Design, profile: Profile, stage: Stage) -> tuple[Decided, ...]:
    """What is decided of each part, where the machine takes programs; no moves are made."""
    requests = requests_of(found, profile, stage)
    if not requests:
        return ()
    from blankcam.machining.decide import decide

    return tuple(decide(request) for request in requests)


def slot_decisions(
    found: Design, profile: Profile, stage: Stage, parts: Sequence[Decided] = ()
) -> dict[int, Decision]:
    """Who makes each slot and why, by the number of its string.

    ``parts``: what is decided already, if anything.
    """
    from blankcam.machining import slots

    parts = parts or decided(found, profile, stage)
    if not parts:
        return (
            {s.string: slots.left_to_the_file(s, profile) for s in found.nut.slots}
            if found.nut
            else {}
        )
    return {d.string: d for part in parts for d in part.by(FeatureKind.SLOT)}


def picture(job_path: str, width: int, *, plain: bool) -> tuple[list[str], tuple[Fault, ...]]:
    """Both parts as lines of characters no wider than ``width``, and why they must not
    be made so.
    """
    from blankcam.outputs.drawings import picture as pictures

    job = job_file.load(job_path)
    found, wrong = drafted(job)
    lines = pictures.lines(found.parts, width, bass_left=not job.left_handed, plain=plain)
    return lines, wrong


def machines(name: str | None) -> tuple[Section, ...]:
    """The machines that come along, or one checked and shown."""
    from blankcam.outputs.tables import machines as tables

    if name is not None:
        return tables.machine(read_profile(name))
    return tables.machines({n: read_profile(n) for n in shipped()})
