"""A run's blanks side by side in a fixture: proven programs a load, the tool changes shared.

Stands beside ``run``, on the same layers below. A load holds blanks of one part, one material and
one machine; each blank of it is proven against all that the load's programs do.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor
from contextlib import closing
from dataclasses import dataclass
from typing import TYPE_CHECKING

from blankcam import digest, output_folder, workers
from blankcam.faults import BlankcamError, Fault, InputError, RefusedError, printable
from blankcam.inputs.job import Job
from blankcam.inputs.machine import Profile
from blankcam.inputs.units import parse_length
from blankcam.outputs.papers.fixture_list import Filled, Seat, Shared, paper
from blankcam.outputs.tables import report
from blankcam.parts.design import Design, design
from blankcam.parts.nut import Nut
from blankcam.parts.part import Stage
from blankcam.parts.saddle import Saddle
from blankcam.workflows import cut_part

if TYPE_CHECKING:
    from blankcam.gcode.writer import Written
    from blankcam.toolpath.build import Plan
    from blankcam.toolpath.fixture_load import Placed
    from blankcam.toolpath.moves import Program

FOLDER, LIST, RECORD = "fixture", "fixture.md", "fixture.json"
MOST_PLACES = 50


@dataclass(frozen=True, slots=True, kw_only=True)
class Fixture:
    """Places along y, mm apart."""

    places: int
    pitch: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Load:
    """What goes into the fixture at one time; as it is handed to a worker."""

    stem: str
    part: str
    jobs: tuple[tuple[str, Job], ...]
    """Names of the jobs' folders, and the jobs, in the order of the places."""
    profile: Profile
    stage: Stage
    pitch: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Loaded:
    """A load's programs by name, and what they are; or why there are none."""

    filled: Filled | None
    programs: tuple[tuple[str, bytes], ...] = ()
    said: tuple[str, ...] = ()
    """What kept blanks, or the whole load, out."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Blank:
    """One blank in its place, planned."""

    number: int
    name: str
    found: Design
    part: Nut | Saddle
    plan: Plan


def fixture_of(text: str) -> Fixture:
    """Places and pitch as the maker writes them: "4 x 25 mm".

    Raises
    ------
    InputError
        When it can't be read.
    """
    try:
        count, pitch = text.lower().split(" x ")
        fixture = Fixture(places=int(count), pitch=parse_length(pitch))
    except ValueError:
        fixture = Fixture(places=0, pitch=0.0)
    if not (1 <= fixture.places <= MOST_PLACES and fixture.pitch > 0):
        fix = f'write places, up to {MOST_PLACES}, and how far apart: "4 x 25 mm"'
        raise InputError(Fault(where="--fixture", found=text, wrong="no fixture", fix=fix))
    return fixture


def load_up(
    jobs: Sequence[tuple[str, Job]],
    out: str,
    machine: str | None,
    stage: Stage,
    fixture: Fixture,
    *,
    pool: Callable[[], Executor],
    at_once: int = 2,
    force: bool = False,
) -> tuple[bool, list[str]]:
    """All parts of all jobs as loads of a fixture, in their own folder; as a whole.

    Returns whether every blank found its place, and what to tell.

    Raises
    ------
    BlankcamError
        Where nothing can be made or the folder can't be written.
    """
    place = f"{out}/{FOLDER}"
    output_folder.check(place, force=force)
    loads = list(_loads(jobs, machine, stage, fixture))
    if not loads:
        wrong = "no job has a machine that takes programs"
        raise RefusedError(Fault(where=out, wrong=wrong, fix="choose a mill with --machine"))
    done: dict[str, Loaded] = {}
    with closing(workers.results_of(load_made, iter(loads), pool, at_once)) as results:
        for load, result in results:
            if isinstance(result, workers.Lost):
                why = f"{load.stem}: its worker was lost, twice: {result.why}"
                done[load.stem] = Loaded(filled=None, said=(why,))
            else:
                done[load.stem] = result
    loaded = [done[load.stem] for load in loads]
    said = [words for one in loaded for words in one.said]
    filled = [one.filled for one in loaded if one.filled is not None]
    files = {name: text for one in loaded for name, text in one.programs}
    if not files:
        raise RefusedError(Fault(where=place, wrong=words) for words in said)
    files[LIST] = paper(filled, fixture.pitch).encode()
    files[RECORD] = report.dumps({"loads": [f.record() for f in filled]}).encode()
    output_folder.write(place, files, force=force)
    return not said, [*_told(filled), *said, f"wrote {len(files)} files to {place}"]


def _told(filled: Sequence[Filled]) -> Iterator[str]:
    for load in filled:
        for s in load.setups:
            yield (
                f"{', '.join(s.files)}: places {', '.join(map(str, s.places))}, each proven; "
                f"about {s.seconds / 60:.0f} min, one by one {s.alone / 60:.0f} min"
            )


def _loads(
    jobs: Sequence[tuple[str, Job]], machine: str | None, stage: Stage, fixture: Fixture
) -> Iterator[Load]:
    """The jobs in loads, nuts before saddles; of jobs whose machine takes programs."""
    alike: dict[tuple[str, str], tuple[Profile, list[tuple[str, Job]]]] = {}
    for name, job in jobs:
        profile = cut_part.machine_of(job, machine)
        if profile.cuts_programs:
            key = (repr(profile), job.blanks.material)
            alike.setdefault(key, (profile, []))[1].append((name, job))
    number = 0
    for part in ("nut", "saddle"):
        for profile, group in alike.values():
            for i in range(0, len(group), fixture.places):
                number += 1
                yield Load(
                    stem=f"load-{number}-{part}",
                    part=part,
                    jobs=tuple(group[i : i + fixture.places]),
                    profile=profile,
                    stage=stage,
                    pitch=fixture.pitch,
                )


def load_made(load: Load) -> Loaded:
    """Plan, write and prove one load: what a worker runs. A fault becomes words."""
    profile = _held_in_fixture(load.profile)
    blanks, said = _planned(load, profile)
    try:
        made = _made(load, blanks, profile) if blanks else Loaded(filled=None)
    except BlankcamError as failed:
        made = Loaded(filled=None, said=tuple(f"{load.stem}: {f}" for f in failed.faults))
    except Exception as fault:  # noqa: BLE001 - one bad load must not stop the rest
        words = printable(f"{type(fault).__name__}: {fault}", 300)
        said.append(f"{load.stem}: a fault of the program itself: {words}")
        made = Loaded(filled=None)
    return dataclasses.replace(made, said=(*said, *made.said))


def _held_in_fixture(profile: Profile) -> Profile:
    held = profile.holding
    kind = "fixture" if held.kind == "vice" else held.kind
    return dataclasses.replace(profile, holding=dataclasses.replace(held, kind=kind))


def _planned(load: Load, profile: Profile) -> tuple[list[_Blank], list[str]]:
    """The blanks that can be cut, and why the others stay out; their places stay empty."""
    blanks, said = [], []
    for number, (name, job) in enumerate(load.jobs, start=1):
        try:
            found = design(job)
            part = found.nut if load.part == "nut" else found.saddle
            plan = cut_part.plan_part(found, part, profile, load.stage)
        except BlankcamError as failed:
            said += [f"{load.stem}: place {number} stays empty: {f}" for f in failed.faults]
            continue
        blanks.append(_Blank(number=number, name=name, found=found, part=part, plan=plan))
    return blanks, said


def _made(load: Load, blanks: Sequence[_Blank], profile: Profile) -> Loaded:
    wall = load.pitch - max(b.part.thickness for b in blanks)
    walled = dataclasses.replace(profile.holding, jaw_width=max(wall, 0.0))
    profile = dataclasses.replace(profile, holding=walled)
    setups = [s for setup in ("face", "edge") if (s := _setup(load, blanks, profile, setup))]
    seats = tuple(_proven(load, blank, profile, setups) for blank in blanks)
    programs = [w for s in setups for w in s.written]
    return Loaded(
        filled=Filled(
            stem=load.stem,
            part=load.part,
            stage=str(load.stage),
            machine=profile.name,
            kind=str(profile.kind),
            material=load.jobs[0][1].blanks.material,
            seats=seats,
            setups=tuple(s.shared for s in setups),
        ),
        programs=tuple((w.file, w.text.encode()) for w in programs),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _SetUp:
    """One set-up of a load: each blank's place in it, and its programs."""

    setup: str
    placed: dict[int, Placed]
    written: tuple[Written, ...]
    shared: Shared


def _setup(load: Load, blanks: Sequence[_Blank], profile: Profile, setup: str) -> _SetUp | None:
    """A set-up's programs for all blanks that have one; raises where they don't fit."""
    from blankcam.gcode import writer
    from blankcam.toolpath import build, fixture_load
    from blankcam.toolpath.timing import estimate

    own = {b.number: _whole(b.plan, setup) for b in blanks}
    placed = {n: fixture_load.place(n, p, load.pitch) for n, p in own.items() if p is not None}
    if not placed:
        return None
    names = [f"{b.name}, job digest {b.found.job.digest}" for b in blanks if b.number in placed]
    stem, all_placed = f"{load.stem}-{setup}", list(placed.values())
    whole = fixture_load.shared(stem, all_placed, names)
    faults = fixture_load.pitch_faults(stem, all_placed, load.pitch)
    faults += build.travel_faults(stem, profile, whole.operations)
    if faults:
        raise RefusedError(faults)
    words = f"{len(placed)} {load.part}s in one fixture"
    signed = digest.of_text("\n".join(names))
    written = tuple(writer.write(p, profile, words, signed) for p in build.split(whole, profile))
    return _SetUp(
        setup=setup,
        placed=placed,
        written=written,
        shared=Shared(
            setup=setup,
            files=tuple(w.file for w in written),
            zero=whole.zero,
            tools=tuple(writer.tool_words(t) for t in whole.tools),
            places=tuple(placed),
            seconds=estimate(whole, profile).total,
            alone=sum(estimate(p.program, profile).total for p in all_placed),
        ),
    )


def _whole(plan: Plan, setup: str) -> Program | None:
    """The programs of a set-up as one, where a machine has them one a tool."""
    programs = [p for p in plan.programs if p.setup == setup]
    if not programs:
        return None
    operations = tuple(o for p in programs for o in p.operations)
    return dataclasses.replace(programs[0], operations=operations)


def _proven(load: Load, blank: _Blank, profile: Profile, setups: Sequence[_SetUp]) -> Seat:
    """One blank under all that the load's programs do; raises where it is not its part then."""
    from blankcam.replay.proof import ProgramText, Setup

    given = [
        ProgramText(name=w.file, data=w.text, setup=Setup(s.setup), zero=s.placed[blank.number].at)
        for s in setups
        if blank.number in s.placed
        for w in s.written
    ]
    proof = cut_part.proof(blank.found, blank.part, blank.plan, profile, load.stage, given)
    if not proof.passed:
        raise RefusedError(
            Fault(where=f"place {blank.number}", wrong=f"the proof failed: {finding}")
            for finding in proof.faults[: cut_part.MOST_TOLD]
        )
    cut = cut_part.blank_as_cut(blank.found, blank.part)
    return Seat(
        number=blank.number,
        job=blank.found.job.instrument.name,
        folder=blank.name,
        blank=(cut.length, cut.height, cut.thickness),
        proof=proof.record(),
    )
