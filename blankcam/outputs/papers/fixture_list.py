"""What stands where in a fixture, and which programs to run on it: the list for the machine."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from blankcam.cut import CutResult
from blankcam.gcode.header import zero_words
from blankcam.gcode.program_file import ProgramFile
from blankcam.inputs.machine import Profile
from blankcam.outputs.figures import both
from blankcam.outputs.papers import hand_steps
from blankcam.outputs.papers.set_numbers import dry_first, to_set
from blankcam.outputs.papers.setup_steps import fitted, held_on_face, runs
from blankcam.outputs.render.markdown import code, plain
from blankcam.parts.part import Part
from blankcam.safety import notice
from blankcam.toolpath.moves import Program

HEAD = (
    "Lengths are mm (in). Do first what each job's `bench.md` says before its first **Hold** "
    "(measuring, rubbing to thickness); afterwards go on there after its last **run**. The places "
    "stand {pitch} apart along Y, place 1 at Y 0. Push all left ends, as seen from the bridge, "
    "against one stop, no higher than the walls; take it away once the blanks are held, for tools "
    "pass there."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class SeatedBlank:
    """One blank in its place."""

    number: int
    job: str
    """The instrument's name."""
    folder: str
    """Of the job's own files."""
    blank: tuple[float, float, float]
    """Length, height and thickness as it goes in, mm."""
    proof: dict[str, Any]
    programs: tuple[Mapping[str, Any], ...]
    """The load's programs and what each does to this blank, with the keys of report.json."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shared:
    """One set-up of all of a load's blanks."""

    setup: str
    air: tuple[str, ...]
    """Files that are run first, with the spindle off."""
    files: tuple[str, ...]
    zero: str
    tools: tuple[str, ...]
    """In the order they are used."""
    places: tuple[int, ...]
    seconds: float
    alone: float
    """The same work, a program a blank."""
    steps: tuple[str, ...]
    """What to do, as Markdown."""

    def record(self) -> dict[str, Any]:
        """As it is told to other programs, in millimetres."""
        own = asdict(self)
        del own["steps"]
        return own


@dataclass(frozen=True, slots=True, kw_only=True)
class FixtureLoad:
    """A load: the fixture filled once."""

    stem: str
    part: str
    stage: str
    machine: str
    kind: str
    material: str
    seats: tuple[SeatedBlank, ...]
    setups: tuple[Shared, ...]

    def record(self) -> dict[str, Any]:
        """As it is told to other programs."""
        return {**asdict(self), "setups": [s.record() for s in self.setups]}


def paper(loads: Sequence[FixtureLoad], pitch: float) -> str:
    """The list as Markdown, with the notice for every material and machine in it."""
    notices = (line for f in loads for line in notice(f.material, f.kind))
    lines = ["# Fixture list", "", *(f"> {line}  " for line in dict.fromkeys(notices)), ""]
    lines.append(HEAD.format(pitch=both(pitch, 3)))
    for load in loads:
        lines += ["", f"## {load.stem}: {load.part}s, stage {load.stage}, {plain(load.machine)}"]
        lines += ["", "| place | instrument | its folder | blank: length, height, thickness, mm |"]
        lines += ["| --- | --- | --- | --- |", *(_row(seat) for seat in load.seats), ""]
        lines += [f"{i}. {words}" for i, words in enumerate(_steps(load), start=1)]
    return "\n".join([*lines, ""])


def _row(seat: SeatedBlank) -> str:
    size = " x ".join(f"{v:.2f}" for v in seat.blank)
    return f"| {seat.number} | {plain(seat.job)} | {code(seat.folder)} | {size} |"


def _steps(load: FixtureLoad) -> Iterator[str]:
    for shared in load.setups:
        yield from shared.steps
    yield "**Keep** each part with the name of its job."


def setup_steps(results: Mapping[int, CutResult], files: Sequence[ProgramFile]) -> Iterator[str]:
    """Set and zero all blanks of a set-up, then fit, touch off and run each of its files.

    Parameters
    ----------
    results : what has this set-up, by the number of its place
    files : the load's, of this set-up, in the order they are run, the one in the air first
    """
    request = next(iter(results.values())).request
    machine, programs = request.machine, [f.program for f in files if not f.program.air]
    first, lying = programs[0], files[0].setup == "face"
    held = _lying(first) if lying else _standing(first, request.part, machine)
    yield (
        f"**Set {'on face' if lying else 'on edge'}**, {_places(results)}: {held} Zero, "
        f"{fitted(first, machine)} (an edge finder goes in first): "
        f"{zero_words(first.zeros, to_set(machine))}"
    )
    yield dry_first(programs, machine)
    yield from runs(files, machine)
    yield from _lying_after(results, programs) if lying else _standing_after(results)


def _places(results: Mapping[int, CutResult]) -> str:
    *most, last = map(str, results)
    return f"places {', '.join(most)} and {last}" if most else f"place {last}"


def _lying(program: Program) -> str:
    return f"the side seen from the bridge up, left ends at the stop; {held_on_face(program)}"


def _standing(program: Program, part: Part, machine: Profile) -> str:
    """Between the walls, as high as all of them have them."""
    held = machine.holding
    return (
        f"left ends at the stop; {held.kind}, seat side down, {held.grip} up to {both(held.jaws)} "
        f"over it, at most {both(program.stock.z1 - held.jaws)} out of them; the side seen from "
        f"the bridge toward you, {hand_steps.seen_side(part)}."
    )


def _lying_after(results: Mapping[int, CutResult], programs: Sequence[Program]) -> Iterator[str]:
    """What to do before the blanks are turned, each at the places whose programs want it."""
    done = {(o.name, o.place) for p in programs for o in p.operations}
    if thick := {n: r.request.part.fit for n, r in results.items() if ("thickness", n) in done}:
        limits = (f"place {n} {both(f.low, 3)} to {both(f.high, 3)}" for n, f in thick.items())
        yield f"**Measure the thickness**: {', '.join(limits)}; what is thicker, rub off."
    if cut_out := [str(n) for n in results if ("outline", n) in done]:
        yield (
            f"**Free them** (place {', '.join(cut_out)}): saw through the tabs at both ends, near "
            "the seat side, and file them flush."
        )


def _standing_after(results: Mapping[int, CutResult]) -> Iterator[str]:
    works = {n: _work(result) for n, result in results.items()}
    highs = [f"place {n} {both(hand_steps.highest(w))}" for n, w in works.items() if w.shaped]
    highest = f"; at the highest, over the seat side: {', '.join(highs)}" if highs else ""
    yield f"**Before unclamping**: stop the spindle, brush and vacuum{highest}."


def _work(result: CutResult) -> hand_steps.PartWork:
    asked = result.request
    return hand_steps.PartWork(part=asked.part, stage=asked.stage, decisions=result.decisions)
