"""One job in, a folder of proven files out: the one layer that knows all the others."""

from __future__ import annotations

import dataclasses
import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from shlex import quote
from typing import TYPE_CHECKING, Any

from blankcam import output_folder
from blankcam.faults import Fault, InputError, RefusedError
from blankcam.inputs import interview, job_file, starter
from blankcam.inputs.job import Job
from blankcam.inputs.machine import Kind, Profile
from blankcam.inputs.machine_file import PAPERS, RELEASES, read_profile, shipped
from blankcam.inputs.units import parse_length
from blankcam.outputs.papers import next_steps
from blankcam.outputs.tables import layout as layout_tables
from blankcam.outputs.tables import report
from blankcam.parts.design import Design, design
from blankcam.parts.part import Stage
from blankcam.safety import notice
from blankcam.workers import second_core
from blankcam.workflows.cut_part import (
    Made,
    choices_of,
    foreseen,
    machine_of,
    plan_part,
    programs,
    refusals,
    slot_choices,
    stop_unproven,
)

if TYPE_CHECKING:
    from blankcam.toolpath.moves import Program


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """Every computed number of a job, ready to be shown."""

    sections: tuple[layout_tables.Section, ...]
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
    choices = slot_choices(found, profile, stage)
    found = _with_cautions(found, foreseen(found, profile, stage))
    content = report.report(found, stage=stage, machine=profile.name, choices=choices)
    refused = (f"make will refuse it: {f}" for f in refusals(found, profile, stage))
    drawn_so = (*refused, *_drawing_cautions(job, profile))
    sections = list(layout_tables.sections(_with_cautions(found, drawn_so), choices))
    if scatter:
        from blankcam.instrument.uncertainty import scatter as drawn

        sections += layout_tables.scattered(drawn(job, found.instrument))
    if feeds:
        planned = _planned(found, profile, stage)
        sections += (*layout_tables.feeds(planned), *layout_tables.times(planned, profile))
    sections.append(
        layout_tables.Section(
            title="Next", typed=True, notes=tuple(_onward(found, profile, machine))
        )
    )
    return Layout(sections=tuple(sections), report_text=report.dumps(content))


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
    if not profile.cuts_programs:
        return []
    parts = (found.nut, found.saddle)
    return [p for part in parts for p in plan_part(found, part, profile, stage).programs]


def picture(job_path: str, width: int, *, plain: bool) -> list[str]:
    """Both parts as lines of characters no wider than ``width``."""
    from blankcam.outputs.drawings import picture as pictures

    job = job_file.load(job_path)
    found = design(job)
    return pictures.lines(
        found.nut, found.saddle, width, bass_left=not job.left_handed, plain=plain
    )


def make(
    job_path: str,
    out: str,
    machine: str | None,
    stage: Stage,
    *,
    what: str = "all",
    force: bool = False,
    alone: bool = True,
    release: str | None = None,
    paper: str | None = None,
    stock: str | None = None,
) -> Iterator[str]:
    """Make the files of a job, then write them as a whole; yields what to tell the maker.

    Parameters
    ----------
    what : ``all``, ``dxf``, ``gcode`` or ``preview``
    alone : whether the other cores are free; False in a batch
    release, paper : of the DXF and the sheet, where not as the machine's profile says
    stock : width and height of a sheet on which all outlines are laid out too, "300 mm x 200 mm"

    Raises
    ------
    BlankcamError
        Before anything is written.
    """
    job = job_file.load(job_path)
    profile = _drawn_as(machine_of(job, machine), release, paper)
    output_folder.check(out, force=force)
    if what == "gcode" and not profile.cuts_programs:
        raise RefusedError(
            Fault(
                where=job.path,
                key="plan.machine",
                found=profile.name,
                wrong=f"a {profile.kind} takes no programs",
                fix="choose a mill or a router with --machine",
            )
        )
    found = design(job)
    made, files, said = _produced(found, profile, stage, what, alone=alone)
    if stock is not None:
        files["stock.dxf"] = stock_drawing([("", found)], profile, stage, stock)
    output_folder.write(out, files, force=force)
    yield from _told(out, files, made if what != "preview" else (), said)
    yield from next_steps.after_files(job, out, files, machine)


def build(job: Job, profile: Profile, stage: Stage) -> Mapping[str, bytes]:
    """All files of a job as bytes, each program proven, on one core; nothing is written.

    Raises
    ------
    RefusedError
        When the job must not be cut so.
    """
    return _produced(design(job), profile, stage, "all", alone=False)[1]


def _drawn_as(profile: Profile, release: str | None, paper: str | None) -> Profile:
    """The profile with what the command says of drawings laid over it."""
    for name, value, allowed in (("release", release, RELEASES), ("paper", paper, PAPERS)):
        if value is not None and value not in allowed:
            fix = f"use one of {', '.join(allowed)}"
            raise InputError(Fault(where=f"--{name}", found=value, wrong="not known", fix=fix))
    drawing = dataclasses.replace(
        profile.drawing,
        release=release or profile.drawing.release,
        paper=paper or profile.drawing.paper,
    )
    return dataclasses.replace(profile, drawing=drawing)


def stock_drawing(
    jobs: Sequence[tuple[str, Design]], profile: Profile, stage: Stage, size: str
) -> bytes:
    """All outlines, and gauges where the machine cuts them, on one sheet of stock.

    Parameters
    ----------
    jobs : a name to tell the parts of several jobs apart, and the job
    size : width and height, "300 mm x 200 mm"

    Raises
    ------
    InputError
        When the size can't be read.
    RefusedError
        When they don't fit.
    """
    from blankcam.outputs.drawings import nesting as stocks
    from blankcam.outputs.drawings.cut_files import options_for, write
    from blankcam.safety import laser_cautions

    try:
        width, height = (parse_length(side) for side in size.lower().split(" x "))
    except ValueError:
        fix = 'write it like "300 mm x 200 mm"'
        raise InputError(Fault(where="--stock", found=size, wrong="no size", fix=fix)) from None
    options = options_for(profile)
    parts = [(f"{name} {p.name}".strip(), p) for name, d in jobs for p in (d.nut, d.saddle)]
    drawn = stocks.outlines(
        parts,
        stage,
        way=options.offset,
        templates=options.templates,
    )
    whole = stocks.laid_out(drawn, stocks.Stock(width=width, height=height), way=options.offset)
    materials = {d.job.blanks.material for _, d in jobs}
    if profile.kind is Kind.LASER:
        for _, d in jobs:
            laser_cautions(d.job.path, d.job.blanks.material)
    lines = dict.fromkeys(n for m in sorted(materials) for n in notice(m, str(profile.kind)))
    title = tuple(d.job.instrument.name for _, d in jobs)
    return write(whole, notice=tuple(lines), title=title, options=options)


def _produced(
    found: Design, profile: Profile, stage: Stage, what: str, *, alone: bool
) -> tuple[tuple[Made, ...], dict[str, bytes], list[str]]:
    """The programs, every file by its name, and the cautions."""
    made: tuple[Made, ...] = ()
    files: dict[str, bytes] = {}
    said = [*found.cautions]
    with second_core(alone and what != "dxf") as worker:
        if what != "dxf" and profile.cuts_programs:
            made = programs(found, profile, stage, worker)
            stop_unproven(made)
        said += [c for m in made for c in m.plan.cautions]
        drawn = worker.submit(drawings, found, profile, stage) if what in ("all", "dxf") else None
        sheets = worker.submit(sheet, found, profile) if what in ("all", "preview") else None
        if what in ("all", "gcode"):
            files |= {w.file: w.text.encode() for m in made for w in m.written}
        if sheets is not None:
            files["preview.html"] = preview(found, profile, stage, made)
            files["sheet.pdf"] = sheets.result()
        if what == "preview":
            files |= sheet_pages(found, profile)
        if drawn is not None:
            files |= drawn.result()[0]
            said += drawn.result()[1]
        if what == "all":
            content = _report(found, profile, stage, made)
            files["report.json"] = report.dumps(content).encode()
            files["bench.md"] = _bench_list(found, profile, stage, made).encode()
    return made, files, said


def _bench_list(found: Design, profile: Profile, stage: Stage, made: Sequence[Made]) -> str:
    from blankcam.outputs.papers.bench_list import bench

    plans = {m.part.name: m.plan for m in made}
    return bench(found, profile, stage, plans, {w.file: w.seconds for m in made for w in m.written})


def drawings(found: Design, profile: Profile, stage: Stage) -> tuple[dict[str, bytes], list[str]]:
    """The DXF outlines by file name, and what the maker must be told of them.

    Raises
    ------
    RefusedError
        For a laser and a material that must not come under one.
    """
    from blankcam.outputs.drawings.cut_files import options_for, write_nut, write_saddle
    from blankcam.outputs.drawings.cut_offset import drawing_cautions
    from blankcam.safety import laser_cautions

    job = found.job
    options = options_for(profile)
    said = [*drawing_cautions(options.release, options.offset)]
    if profile.kind is Kind.LASER:
        said += laser_cautions(job.path, job.blanks.material)
    lines = notice(job.blanks.material, str(profile.kind))
    title = (job.instrument.name, f"stage {stage}, job digest {job.digest}")
    nut = write_nut(
        found.nut,
        stage,
        notice=lines,
        board=(job.nut.seat_drop, job.board.radius.nut),
        title=("nut", *title),
        options=options,
    )
    saddle = write_saddle(
        found.saddle,
        stage,
        notice=lines,
        seat_top=job.saddle.slot_depth,
        title=("saddle", *title),
        options=options,
    )
    return {"nut.dxf": nut, "saddle.dxf": saddle}, said


def sheet(found: Design, profile: Profile) -> bytes:
    """The 1:1 sheet as PDF."""
    from blankcam.outputs.papers import sheet as sheets

    lines = notice(found.job.blanks.material, str(profile.kind))
    return sheets.pdf(found, notice=lines, paper=profile.drawing.paper)


def sheet_pages(found: Design, profile: Profile) -> dict[str, bytes]:
    """The 1:1 sheet as SVG, a file a page."""
    from blankcam.outputs.papers import sheet as sheets

    lines = notice(found.job.blanks.material, str(profile.kind))
    pages = sheets.svg(found, notice=lines, paper=profile.drawing.paper)
    return {f"sheet-{i}.svg": page for i, page in enumerate(pages, start=1)}


def preview(found: Design, profile: Profile, stage: Stage, made: Sequence[Made]) -> bytes:
    """The preview page."""
    from blankcam.preview.page import page
    from blankcam.preview.scene import PartCut, page_data
    from blankcam.replay.reader import read_program

    cuts = [
        PartCut(
            part=m.part.name,
            stage=stage,
            milled=frozenset(c.string for c in m.plan.slots if c.by == "mill"),
            programs=m.plan.programs,
            written=m.written,
            moves=tuple(read_program(w.text, profile, name=w.file).moves for w in m.written),
            proof=m.proof,
            cautions=m.plan.cautions,
        )
        for m in made
    ]
    choices = _choices(found, profile, stage, made)
    lines = notice(found.job.blanks.material, str(profile.kind))
    return page(page_data(found, profile, cuts, choices=choices, notice=lines)).encode()


def _choices(
    found: Design, profile: Profile, stage: Stage, made: Sequence[Made]
) -> Mapping[int, report.Choice]:
    chosen = [c for m in made for c in m.plan.slots]
    return choices_of(chosen) if chosen else slot_choices(found, profile, stage)


def _report(found: Design, profile: Profile, stage: Stage, made: Sequence[Made]) -> dict[str, Any]:
    return report.report(
        found,
        stage=stage,
        machine=profile.name,
        choices=_choices(found, profile, stage, made),
        programs=[p for m in made for p in _program_records(m, stage)],
        cautions=[c for m in made for c in m.plan.cautions],
    )


def _program_records(made: Made, stage: Stage) -> Iterator[dict[str, Any]]:
    proofs = {p.name: p for p in made.proof.programs}
    for program, written in zip(made.plan.programs, made.written, strict=True):
        own = proofs[written.file]
        yield {
            "file": written.file,
            "part": program.part,
            "setup": program.setup,
            "stage": str(stage),
            "tools": [t.number for t in program.tools],
            "lines": written.lines,
            "cut_length": written.cut_length,
            "seconds": written.seconds,
            "cutting_seconds": written.cutting_seconds,
            "air_seconds": written.air_seconds,
            "bound_seconds": written.bound_seconds,
            "proof": made.proof.record()
            | {
                "rapid_contacts": own.rapid_contacts,
                "holder_contacts": own.holder_contacts,
                "holding_contacts": own.holding_contacts,
                "outside_travel": own.outside_travel,
            },
        }


def _told(
    out: str, files: Mapping[str, bytes], made: Sequence[Made], cautions: Sequence[str]
) -> Iterator[str]:
    for m in made:
        for w in m.written:
            yield (
                f"{w.file}: proven; deepest below the part {m.proof.gouge_um:.1f} um, most left "
                f"{m.proof.left_um:.1f} um; {w.lines} lines, about {w.seconds / 60:.0f} min"
            )
    for caution in dict.fromkeys(cautions):
        yield f"caution: {caution}"
    yield f"wrote {len(files)} files to {out}: {', '.join(sorted(files))}"


def machines(name: str | None) -> tuple[layout_tables.Section, ...]:
    """The machines that come along, or one checked and shown."""
    if name is not None:
        return layout_tables.machine(read_profile(name))
    return layout_tables.machines({n: read_profile(n) for n in shipped()})


def start(path: str, kind: str, *, force: bool) -> Iterator[str]:
    """Write a job file to begin with; yields what to do next."""
    output_folder.write_file(path, starter.text(kind).encode(), force=force)
    yield f"wrote {path}: measure your own instrument and change its values"
    yield f"then: blankcam layout {quote(path)}"


def begin(path: str, kind: str | None, *, force: bool) -> interview.Talk:
    """The talk that a job file is to come of: taken up where it was broken off, or a new one.

    Raises
    ------
    BlankcamError
        When the job file is there already, or the kept answers can't be used.
    """
    output_folder.check_file(path, force=force)
    part = interview.part_path(path)
    if is_kept(path):
        return interview.taken_up(job_file.read_text(part), part)
    if kind is None:
        return interview.Talk()
    starter.known(kind)
    return interview.answered(interview.Talk(), kind)


def keep(path: str, talk: interview.Talk) -> None:
    """Put the answers so far beside the job file to be; raises OutputError."""
    output_folder.write_file(interview.part_path(path), interview.kept(talk).encode(), force=True)


def is_kept(path: str) -> bool:
    """Whether answers were kept for a job file to be."""
    return os.path.lexists(interview.part_path(path))


def broken_off(path: str) -> InputError:
    """What to tell where the maker breaks a talk off."""
    fix, wrong = f"go on with: blankcam start {quote(path)} --ask", "not written, broken off"
    if is_kept(path):
        wrong += f"; the answers so far are kept in {interview.part_path(path)}"
    return InputError(Fault(where=path, wrong=wrong, fix=fix))


def forget(path: str) -> None:
    """Remove the kept answers, where there are any; raises OutputError."""
    output_folder.remove_file(interview.part_path(path))


def finish(path: str, talk: interview.Talk, *, force: bool) -> Iterator[str]:
    """Write the job file of a whole talk; yields what still hinders it, and what to do next."""
    text = interview.job_text(talk)
    output_folder.write_file(path, text.encode(), force=force)
    forget(path)
    yield f"wrote {path}"
    try:
        design(job_file.parse(text, path))
    except RefusedError as refused:
        yield from (f"not to be cut so yet: {f}" for f in refused.faults)
    yield f"then: blankcam layout {quote(path)}"
