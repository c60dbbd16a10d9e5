"""What stands where in a fixture, and which programs to run on it: the list for the machine."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, fields
from functools import partial
from typing import Any

from blankcam.gcode.changes import in_units_of
from blankcam.gcode.header import tool_words, touch_words, zero_words
from blankcam.inputs.machine import Controller
from blankcam.inputs.tool import Tool
from blankcam.inputs.units import inches
from blankcam.outputs.render.markdown import code, plain
from blankcam.parts.frames import Zero
from blankcam.safety import notice


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
    zeros: tuple[Zero, ...]
    tools: tuple[Tool, ...]
    """In the order they are used."""
    controller: Controller
    places: tuple[int, ...]
    seconds: float
    alone: float
    """The same work, a program a blank."""
    dry: float
    """How much lower Z is set for a dry run, mm."""


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
        return {**asdict(self), "setups": [_shared_record(s) for s in self.setups]}


def _shared_record(shared: Shared) -> dict[str, Any]:
    """A set-up as it is told to other programs, in millimetres."""
    own = {f.name: getattr(shared, f.name) for f in fields(shared)}
    del own["zeros"], own["controller"], own["dry"]
    return {
        **own,
        "zero": zero_words(shared.zeros),
        "tools": [tool_words(t) for t in shared.tools],
    }


def paper(loads: Sequence[FixtureLoad], pitch: float) -> str:
    """The list as Markdown, with the notice for every material and machine in it."""
    notices = (line for f in loads for line in notice(f.material, f.kind))
    lines = ["# Fixture list", "", *(f"> {line}  " for line in dict.fromkeys(notices)), ""]
    lines.append(
        f"The places stand {pitch:g} mm ({inches(pitch)} in) apart along Y, the first at Y0. Push each "
        "blank's left end, seen from the bridge, against the one stop. Turn a nut's fingerboard side "
        "and a saddle's tail side toward you. On edge: the seat side down on the floor, the walls "
        "on both faces; the stop no higher than the walls, because the tool passes over it at "
        "the ends. On face: that side up, on one waste board, held as each program's header says. "
        "Take the stop away once the blanks are held: the outline goes round their left ends. What is "
        "the hand's, before (measuring, rubbing to thickness) and after, is in each job's bench.md."
    )
    for load in loads:
        lines += ["", f"## {load.stem}: {load.part}s, stage {load.stage}, {plain(load.machine)}"]
        lines += ["", "| place | instrument | its folder | blank: length, height, thickness, mm |"]
        lines += ["|---|---|---|---|", *(_row(seat) for seat in load.seats), ""]
        lines += [f"{i}. {words}" for i, words in enumerate(_steps(load), start=1)]
    return "\n".join([*lines, ""])


def _row(seat: SeatedBlank) -> str:
    size = " x ".join(f"{v:.2f}" for v in seat.blank)
    return f"| {seat.number} | {plain(seat.job)} | {code(seat.folder)} | {size} |"


def _each_tool(shared: Shared) -> str:
    """What to do for each tool whose length the controller does not know."""
    if shared.controller.length_offsets:
        return ""
    touch = in_units_of(shared.controller, touch_words(shared.zeros))
    return f" For each, once it is fitted, {touch}; leave X and Y as they are."


def _steps(load: FixtureLoad) -> Iterator[str]:
    for s in load.setups:
        stands = "on edge" if s.setup == "edge" else "on the waste board, on face"
        yield f"Set the blanks {stands}: place {', '.join(map(str, s.places))}."
        told = partial(in_units_of, s.controller)
        yield f"Zero: {told(zero_words(s.zeros))}"
        yield f"Have ready: {'; '.join(told(tool_words(t)) for t in s.tools)}.{_each_tool(s)}"
        files = ", then ".join(f"`{file}`" for file in s.files)
        for file in s.air:
            yield f"With the spindle off run `{file}`: at each stop look where the tip stands."
        yield (
            f"Dry run first, with Z set {told(f'{s.dry:.2f} mm')} lower than the number given; set Z to the "
            f"number itself again, then run {files}: about {max(1, round(s.seconds / 60))} min, one blank at a "
            f"time it would take {max(1, round(s.alone / 60))} min."
        )
        if s.setup == "face":
            yield "Saw through the tabs at both ends, near the seat side, and file them flush."
    yield "Let the spindle stop, brush and vacuum; keep each part with the name of its job."
