"""One job in, a folder of proven files out."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from blankcam import output_folder
from blankcam.faults import Fault, InputError, RefusedError
from blankcam.inputs import job_file
from blankcam.inputs.job import Job
from blankcam.inputs.machine import MachineKind, Profile
from blankcam.inputs.units import Units, parse_length
from blankcam.outputs import reasons
from blankcam.outputs.figures import about_minutes, off_by
from blankcam.outputs.papers import next_steps
from blankcam.outputs.render import records
from blankcam.outputs.tables import report
from blankcam.outputs.tables.saddle import slant_words
from blankcam.parts.design import Design, design
from blankcam.parts.stage import Stage
from blankcam.safety import notice
from blankcam.workers import second_core
from blankcam.workflows.drawn import nut_cut, preview, setup_cards, sheet
from blankcam.workflows.layout import slot_decisions
from blankcam.workflows.request import drawn_as, machine_of

if TYPE_CHECKING:
    from blankcam.cut import CutResult
    from blankcam.machining.decision import Decision
    from blankcam.outputs.drawings.cut_files import Options


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
    units: Units | None = None,
    stock: str | None = None,
    stock_material: str | None = None,
) -> Iterator[str]:
    """Make the files of a job, then write them as a whole; yields what to tell the maker.

    Parameters
    ----------
    what : ``all``, ``dxf`` or ``gcode``
    alone : whether the other cores are free; False in a batch
    release, paper, units : of the DXF, the sheet and the tables, where not as the machine's profile
    says
    stock : width and height of a sheet on which all outlines are laid out too, "300 mm x 200 mm"
    stock_material : what lies under a laser, where that is not as its profile says

    Raises
    ------
    BlankcamError
        Before anything is written.
    """
    job = job_file.load(job_path)
    profile = drawn_as(machine_of(job, machine), release=release, paper=paper, units=units)
    profile = _with_stock(profile, stock_material)
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
    if what == "gcode":
        _stop_without_programs(job, made)
    if stock is not None:
        files |= stock_drawings([("", found)], profile, stage, stock)
    output_folder.write(out, files, force=force)
    yield from _told(out, files, made, said)
    yield from next_steps.after_files(job, out, files, machine)


def _stop_without_programs(job: Job, made: Sequence[CutResult]) -> None:
    """Raise RefusedError where nothing can be left to the machine: every reason."""
    if any(m.programs for m in made):
        return
    whys = (w for m in made for w in reasons.left_to_the_hand(m.request.part.name, m.decisions))
    why = "; ".join(whys) or "the job has everything done by hand"
    fix = "run `blankcam make` for the sheet and the bench list"
    raise RefusedError(Fault(where=job.path, key="plan", wrong=f"no programs: {why}", fix=fix))


def build(job: Job, profile: Profile, stage: Stage) -> Mapping[str, bytes]:
    """All files of a job as bytes, each program proven, on one core; nothing is written.

    Raises
    ------
    RefusedError
        When the job must not be cut so.
    """
    return _produced(design(job), profile, stage, "all", alone=False)[1]


def _with_stock(profile: Profile, material: str | None) -> Profile:
    """The profile with what the command says of the stock under a laser."""
    if material is None:
        return profile
    if profile.kind is not MachineKind.LASER:
        wrong = f"is for a laser, and {profile.name} is a {profile.kind}"
        fix = "leave it out, or choose a laser with --machine"
        raise InputError(Fault(where="--stock-material", found=material, wrong=wrong, fix=fix))
    return dataclasses.replace(profile, stock=material)


def _named(profile: Profile) -> str:
    return profile.path or profile.name


def stock_drawings(
    jobs: Sequence[tuple[str, Design]], profile: Profile, stage: Stage, size: str
) -> dict[str, bytes]:
    """All outlines, and gauges where the machine cuts them, on one sheet of stock, by file name.

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
    parts = [(f"{name} {p.name}".strip(), p) for name, d in jobs for p in d.parts]
    drawn = stocks.outlines(
        parts,
        stage,
        way=options.offset,
        templates=options.templates,
    )
    whole = stocks.laid_out(drawn, stocks.Stock(width=width, height=height), way=options.offset)
    materials = {d.job.blanks.material for _, d in jobs}
    if profile.kind is MachineKind.LASER:
        for material in materials:
            laser_cautions(_named(profile), material, profile.stock)
    lines = dict.fromkeys(n for m in sorted(materials) for n in notice(m, str(profile.kind)))
    title = tuple(d.job.instrument.name for _, d in jobs)
    ways = {"stock.dxf": options}
    if options.templates:
        ways["stock-cut.dxf"] = dataclasses.replace(options, cut_alone=True)
    return {
        name: write(whole, notice=tuple(lines), title=title, options=how)
        for name, how in ways.items()
    }


def _produced(
    found: Design, profile: Profile, stage: Stage, what: str, *, alone: bool
) -> tuple[tuple[CutResult, ...], dict[str, bytes], list[str]]:
    """The programs, every file by its name, and the cautions."""
    made: tuple[CutResult, ...] = ()
    files: dict[str, bytes] = {}
    said = [*found.cautions]
    with second_core(alone and what != "dxf") as worker:
        if what != "dxf" and profile.cuts_programs:
            from blankcam.workflows.cut_part import cut_parts, stop_unproven

            made = cut_parts(found, profile, stage, worker)
            stop_unproven(made)
        said += [c for m in made for c in m.cautions]
        said += [
            c for m in made for c in reasons.left_to_the_hand(m.request.part.name, m.decisions)
        ]
        drawn = worker.submit(drawings, found, profile, stage) if what in ("all", "dxf") else None
        cut = nut_cut(found, profile, stage, made) if what == "all" else None
        setups = setup_cards(found, made) if cut else None
        sheets = worker.submit(sheet, found, profile, cut, setups) if cut else None
        if what in ("all", "gcode"):
            files |= {name: text for m in made for name, text in m.texts.items()}
        if sheets is not None:
            files["preview.html"] = preview(found, profile, stage, made)
            files["sheet.pdf"] = sheets.result()
        if drawn is not None:
            files |= drawn.result()[0]
            said += drawn.result()[1]
        if what == "all":
            content = _report(found, profile, stage, made, said)
            files["report.json"] = records.render(content).encode()
            files |= _setup_cards(found, made)
            files["bench.md"] = _bench_list(found, profile, stage, made).encode()
    return made, files, said


def _setup_cards(found: Design, made: Sequence[CutResult]) -> dict[str, bytes]:
    """How each set-up is held and zeroed, drawn."""
    from blankcam.outputs.drawings.setup_card import cards

    drawn = [cards(m, bass_left=not found.job.left_handed) for m in made]
    return {name: data for each in drawn for name, data in each.items()}


def _bench_list(found: Design, profile: Profile, stage: Stage, made: Sequence[CutResult]) -> str:
    from blankcam.outputs.papers.bench_list import bench

    return bench(found, profile, stage, {m.request.part.name: m for m in made})


def drawings(found: Design, profile: Profile, stage: Stage) -> tuple[dict[str, bytes], list[str]]:
    """The DXF outlines by file name, and what the maker must be told of them.

    Raises
    ------
    RefusedError
        For a laser with stock under it that must not come under one.
    """
    from blankcam.outputs.drawings.cut_files import options_for
    from blankcam.outputs.drawings.cut_offset import drawing_cautions
    from blankcam.safety import laser_cautions

    job = found.job
    options = options_for(profile)
    said = [*drawing_cautions(options.release, options.offset)]
    if profile.kind is MachineKind.LASER:
        said += laser_cautions(_named(profile), job.blanks.material, profile.stock)
    files = _outlines(found, profile, stage, options)
    if options.templates:
        files |= {
            f"{name}-cut": data
            for name, data in _outlines(
                found, profile, stage, dataclasses.replace(options, cut_alone=True)
            ).items()
        }
    return {f"{name}.dxf": data for name, data in files.items()}, said


def _outlines(found: Design, profile: Profile, stage: Stage, options: Options) -> dict[str, bytes]:
    """Each part's DXF by the part's name."""
    from blankcam.outputs.drawings.cut_files import write_nut, write_saddle

    job = found.job
    lines = notice(job.blanks.material, str(profile.kind))
    title = (job.instrument.name, f"stage {stage}, job digest {job.digest}")
    files = {}
    if found.nut is not None:
        files["nut"] = write_nut(
            found.nut,
            stage,
            notice=lines,
            board=(-found.instrument.nut_floor, job.board.radius.nut),
            title=("nut", *title),
            options=options,
        )
    if found.saddle is not None:
        files["saddle"] = write_saddle(
            found.saddle,
            stage,
            notice=lines,
            seat_top=job.saddle.slot_depth,
            title=("saddle", *title, *slant_words(found.saddle, job.saddle.front_at)),
            options=options,
        )
    return files


def _choices(
    found: Design, profile: Profile, stage: Stage, made: Sequence[CutResult]
) -> Mapping[int, Decision]:
    chosen = {d.string: d for m in made for d in m.slots}
    return chosen or slot_decisions(found, profile, stage)


def _report(
    found: Design,
    profile: Profile,
    stage: Stage,
    made: Sequence[CutResult],
    cautions: Sequence[str],
) -> dict[str, Any]:
    return report.report(
        found,
        stage=stage,
        machine=profile.name,
        choices=_choices(found, profile, stage, made),
        fronts={d.string: d for m in made for d in m.fronts},
        by_hand=[
            record for m in made for record in report.hand_records(m.request.part.name, m.decisions)
        ],
        programs=[record for m in made for record in report.program_records(m)],
        cautions=cautions,
    )


def _told(
    out: str, files: Mapping[str, bytes], made: Sequence[CutResult], cautions: Sequence[str]
) -> Iterator[str]:
    for m in made:
        assert m.proof is not None
        for file in m.files:
            yield f"{file.name}: proven; {file.lines} lines, {about_minutes(file.seconds)}"
        if m.files:
            off = off_by(m.proof.gouge_um, m.proof.left_um)
            yield f"the {m.request.part.name} that they leave is {off}"
    for caution in dict.fromkeys(cautions):
        yield f"caution: {caution}"
    yield f"wrote {len(files)} files to {out}: {', '.join(sorted(files))}"
