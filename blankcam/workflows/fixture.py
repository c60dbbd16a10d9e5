"""A run's blanks side by side in a fixture: proven programs a load, the tool changes shared.

Stands beside ``make``, on the same layers below. A load holds blanks of one part, one material and
one machine; each blank of it is proven against all that the load's programs do.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Executor
from contextlib import closing, contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from blankcam import output_folder, workers
from blankcam.faults import BlankcamError, Fault, InputError, RefusedError, printable
from blankcam.inputs.job import Job
from blankcam.inputs.machine import Profile
from blankcam.inputs.units import parse_length
from blankcam.outputs.figures import about_minutes
from blankcam.outputs.papers.fixture_list import FixtureLoad, SeatedBlank, Shared, paper
from blankcam.outputs.render import records
from blankcam.outputs.tables import report
from blankcam.parts.design import design
from blankcam.parts.stage import Stage
from blankcam.workflows.request import machine_for, machine_of, request_of

if TYPE_CHECKING:
    from blankcam.cut import CutRequest, CutResult
    from blankcam.parts.frames import Setup

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

    filled: FixtureLoad | None
    programs: tuple[tuple[str, bytes], ...] = ()
    said: tuple[str, ...] = ()
    """What kept blanks, or the whole load, out."""


def fixture_of(text: str) -> Fixture:
    """Places and pitch as the maker writes them: "4 x 25 mm".

    Raises
    ------
    InputError
        When it can't be read.
    """
    try:
        count, pitch = text.lower().split(" x ")
        fixture = Fixture(places=int(count), pitch=round(parse_length(pitch), 3))
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
    files[RECORD] = records.render({"loads": [f.record() for f in filled]}).encode()
    output_folder.write(place, files, force=force)
    return not said, [*_told(filled), *said, f"wrote {len(files)} files to {place}"]


def _told(filled: Sequence[FixtureLoad]) -> Iterator[str]:
    for load in filled:
        for s in load.setups:
            yield (
                f"{', '.join(s.files)}: places {', '.join(map(str, s.places))}, each proven; "
                f"{about_minutes(s.seconds)}, one by one {about_minutes(s.alone)}"
            )


def _loads(
    jobs: Sequence[tuple[str, Job]], machine: str | None, stage: Stage, fixture: Fixture
) -> Iterator[Load]:
    """The jobs in loads, nuts before saddles; of jobs whose machine takes programs."""
    number = 0
    for part in ("nut", "saddle"):
        alike: dict[tuple[str, str], tuple[Profile, list[tuple[str, Job]]]] = {}
        for name, job in jobs:
            profile = machine_for(part, job, machine_of(job, machine))
            if profile.cuts_programs and getattr(job.blanks, part):
                key = (repr(profile), job.blanks.material)
                alike.setdefault(key, (profile, []))[1].append((name, job))
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
    planned, said = _planned(load)
    try:
        made = _made(load, planned) if planned else Loaded(filled=None)
    except BlankcamError as failed:
        made = Loaded(filled=None, said=tuple(f"{load.stem}: {f}" for f in failed.faults))
    except Exception as fault:  # noqa: BLE001 - one bad load must not stop the rest
        words = printable(f"{type(fault).__name__}: {fault}", 300)
        said.append(f"{load.stem}: a fault of the program itself: {words}")
        made = Loaded(filled=None)
    return dataclasses.replace(made, said=(*said, *made.said))


def request_in_fixture(job: Job, part: str, profile: Profile, stage: Stage) -> CutRequest:
    """A part of a job, its blank between a fixture's walls where the machine has it in a vice."""
    request = request_of(design(job), part, profile, stage)
    held = request.machine.holding
    return _holding(request, kind="fixture" if held.kind == "vice" else held.kind)


def walled_alike(requests: Mapping[int, CutRequest]) -> dict[int, CutRequest]:
    """The same requests with a fixture's walls, which are as high at every place, as jaws.

    Where their height is worked out it is what the lowest of the cuts allows; a blank that must not
    be cut as asked has no say in it.
    """
    from blankcam.machining.decide import decide

    each = [decide(request) for request in requests.values()]
    heights = [d.request.machine.holding.jaws for d in each if not d.faults]
    if not heights:
        return dict(requests)
    return {n: _holding(request, jaw_top=min(heights)) for n, request in requests.items()}


def _holding(request: CutRequest, **changed: Any) -> CutRequest:
    machine = request.machine
    held = dataclasses.replace(machine.holding, **changed)
    return dataclasses.replace(request, machine=dataclasses.replace(machine, holding=held))


def _planned(load: Load) -> tuple[dict[int, CutResult], list[str]]:
    """The blanks that can be cut, by their places, and why the others stay out."""
    from blankcam.workflows.cut_part import write_part

    asked: dict[int, CutRequest] = {}
    planned: dict[int, CutResult] = {}
    said: list[str] = []

    @contextmanager
    def staying_empty(number: int) -> Iterator[None]:
        try:
            yield
        except BlankcamError as failed:
            said.extend(f"{load.stem}: place {number} stays empty: {f}" for f in failed.faults)

    for number, (name, job) in enumerate(load.jobs, start=1):
        with staying_empty(number):
            request = request_in_fixture(job, load.part, load.profile, load.stage)
            label = dataclasses.replace(request.label, job=name)
            asked[number] = dataclasses.replace(request, label=label)
    for number, request in walled_alike(asked).items():
        with staying_empty(number):
            planned[number] = write_part(request)
    return planned, said


def _made(load: Load, planned: Mapping[int, CutResult]) -> Loaded:
    from blankcam.parts.frames import Setup
    from blankcam.workflows.cut_part import cut_load

    results = cut_load(load.stem, planned, load.pitch)
    files = {f.name: f for r in results.values() for f in r.files}
    setups = (s for setup in Setup if (s := _shared(setup, planned, results)))
    return Loaded(
        filled=FixtureLoad(
            stem=load.stem,
            part=load.part,
            stage=str(load.stage),
            machine=load.profile.name,
            kind=str(load.profile.kind),
            material=load.jobs[0][1].blanks.material,
            seats=tuple(_seat(load, number, result) for number, result in results.items()),
            setups=tuple(setups),
        ),
        programs=tuple((name, file.text.encode()) for name, file in files.items()),
    )


def _shared(
    setup: Setup, planned: Mapping[int, CutResult], results: Mapping[int, CutResult]
) -> Shared | None:
    """What to do in one set-up of a load; None where no blank has it."""
    from blankcam.gcode.header import tool_words, zero_words
    from blankcam.outputs.papers.fixture_list import setup_steps
    from blankcam.toolpath.timing import estimate
    from blankcam.workflows.cut_part import whole_program

    places = [n for n, r in results.items() if any(f.setup == setup for f in r.programs)]
    if not places:
        return None
    one = results[places[0]]
    machine, whole = one.request.machine, whole_program(one, setup)
    alone = [whole_program(planned[n], setup) for n in places]
    assert whole is not None
    in_order = [f for f in one.files if f.setup == setup]
    return Shared(
        setup=setup.value,
        air=tuple(f.name for f in one.in_air if f.setup == setup),
        files=tuple(f.name for f in one.programs if f.setup == setup),
        zero=zero_words(whole.zeros),
        tools=tuple(map(tool_words, whole.tools)),
        places=tuple(places),
        seconds=estimate(whole, machine).total,
        alone=sum(estimate(p, machine).total for p in alone if p is not None),
        steps=tuple(setup_steps({n: results[n] for n in places}, in_order)),
    )


def _seat(load: Load, number: int, result: CutResult) -> SeatedBlank:
    folder, job = load.jobs[number - 1]
    box = result.request.blank
    assert result.proof is not None
    return SeatedBlank(
        number=number,
        job=job.instrument.name,
        folder=folder,
        blank=(box.x1 - box.x0, box.z1, box.y1 - box.y0),
        proof=result.proof.record(),
        programs=tuple(report.program_records(result)),
    )
