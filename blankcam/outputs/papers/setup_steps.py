"""A set-up at the machine, step by step: how the part is held and zeroed, what is fitted and run.

Lengths are millimetres with inches in brackets, numbers to set in the controller's own unit first.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby

from blankcam.cut import CutResult
from blankcam.gcode.changes import steps
from blankcam.gcode.header import touch_words, zero_words, zeroing_tool
from blankcam.gcode.program_file import ProgramFile
from blankcam.inputs.machine import Profile, ToolChange
from blankcam.inputs.tool import Shape, Tool
from blankcam.inputs.units import inches
from blankcam.machining.request import CutRequest
from blankcam.outputs.drawings.setup_card import card_name
from blankcam.outputs.figures import about_minutes, both
from blankcam.outputs.papers import hand_steps
from blankcam.outputs.papers.set_numbers import to_set, unit_first
from blankcam.parts.frames import Setup
from blankcam.toolpath.moves import Program


def setup_steps(result: CutResult, files: Sequence[ProgramFile]) -> Iterator[str]:
    """Hold and zero the part, then fit, touch off and run each of a set-up's files, as Markdown.

    Parameters
    ----------
    files : of one set-up, in the order they are run
    """
    request, setup = result.request, files[0].setup
    first = _cutting(files)[0].program
    drawn = card_name(request.label.program_stem(Setup(setup)))
    yield (
        f"**Hold {'on face' if setup == 'face' else 'on edge'}**: {_held(request, first)} "
        f"{_zero(first, drawn, request.machine)}"
    )
    yield from _probe_steps(result, setup)
    yield from runs(files, request.machine)


def _zero(program: Program, drawn: str, machine: Profile) -> str:
    """With which tool in the spindle a set-up is zeroed, on what, and which numbers are set."""
    return (
        f"Zero (`{drawn}`), {fitted(program, machine)} (an edge finder goes in first): "
        f"{zero_words(program.zeros, to_set(machine))}"
    )


def fitted(program: Program, machine: Profile) -> str:
    """Which tool is in the spindle while a set-up is zeroed, and whether its length counts."""
    length = ", its length in force" if machine.controller.length_offsets else ""
    return f"T{zeroing_tool(program)} fitted{length}"


def _probe_steps(result: CutResult, setup: str) -> Iterator[str]:
    """The probing program, where there is one."""
    machine = result.request.machine
    first = next(f.program for f in result.programs if f.setup == setup)
    again = ""
    if machine.controller.length_offsets:
        again = f"; then, {fitted(first, machine)}, {touch_words(first.zeros, unit_first(machine))}"
    for file in result.probing:
        if file.setup == setup:
            run = f"run `{file.name}` as its head says"
            yield f"**Zero by the probe** in place of that: {run}{again}."


def _held(request: CutRequest, program: Program) -> str:
    return _held_on_edge(request, program) if program.setup == "edge" else held_on_face(program)


def held_on_face(program: Program) -> str:
    """How a blank is held lying on its face, and which side is toward you."""
    held, lying = program.holding, "seat side toward you"
    outline = "outline" in {o.name for o in program.operations}
    return {
        "clamps": f"a clamp at each end of the waste, reaching {both(held.clamp_reach)} over it "
        f"and {both(held.clamp_height)} high, a waste board under it; {lying}.",
        "fixture": f"between walls {both(held.face_top)} high along seat side and top; {lying}.",
        "tape": f"on a waste board by tape; {lying}.",
    }.get(
        held.on_face,
        f"glued on a waste board, {lying}"
        + ("; waste and tabs stay fixed too." if outline else "."),
    )


def _held_on_edge(request: CutRequest, program: Program) -> str:
    """Seat side down; or turned over for its underside, with the crown down."""
    held = program.holding
    how, over = f"{held.kind}, seat side down", "it"
    toward = hand_steps.seen_side(request.part)
    if request.turned:
        how = (
            "turn it over about its length, its left end still on the left; "
            f"{held.kind}, crown down"
        )
        over, toward = "where it rests", "the nut side"
    return (
        f"{how}, {held.grip} up to {both(held.jaws)} over {over}, "
        f"{both(program.stock.z1 - held.jaws)} out of them; {toward} toward you."
    )


def runs(programs: Sequence[ProgramFile], machine: Profile) -> Iterator[str]:
    """What is fitted, touched and set before each program; the one in the air leads."""
    first = [f for f in programs if f.program.air or f is _cutting(programs)[0]]
    others = [f for f in programs if f not in first]
    yield f"{_fitting(first[-1], machine)}; {'; '.join(_run(f, machine) for f in first)}."
    if others:
        yield _in_the_same_way(others, machine)


def _in_the_same_way(files: Sequence[ProgramFile], machine: Profile) -> str:
    """The files after a set-up's first; what their tools share is said once."""
    touch = touch_words(files[0].program.zeros, unit_first(machine))
    out = {t.stick_out for f in files for t in f.tools}
    shared = f", each tool {both(min(out))} out of the collet" if len(out) == 1 else ""
    runs = (
        f"{', '.join(map(_named, f.tools)) if shared else in_collet(f.tools)}, {_run(f, machine)}"
        for f in files
    )
    return f"**In the same way**{shared}, each time {touch}: {'; '.join(runs)}."


def _cutting(programs: Sequence[ProgramFile]) -> list[ProgramFile]:
    return [f for f in programs if not f.program.air]


def _fitting(file: ProgramFile, machine: Profile) -> str:
    """What to fit before a set-up's first program, what to touch off on, which number to set."""
    controller, length = machine.controller, unit_first(machine)
    if controller.tool_change is ToolChange.AUTOMATIC:
        table = "; see that each length is in the controller's table"
        return f"**Fit** {in_collet(file.tools)}{table if controller.length_offsets else ''}"
    todo = steps(file.tools[0], "it", file.program.zeros, controller, length)
    return f"**Fit** {in_collet(file.tools[:1])}: {', '.join(todo)}"


def _run(file: ProgramFile, machine: Profile) -> str:
    """A program's run, and what to look at."""
    if file.program.air:
        return (
            f"**run `{file.name}`**, spindle off; at each stop look: if the tip is not where the "
            "stop says, zero again"
        )
    about = about_minutes(file.seconds)
    return f"**run `{file.name}`**, dry first, {about}{_at_stops(file, machine)}"


def _at_stops(file: ProgramFile, machine: Profile) -> str:
    """What to do at a program's stops for other tools."""
    if machine.controller.tool_change is not ToolChange.STOP or len(file.tools) < 2:
        return ""
    touch = touch_words(file.program.zeros, unit_first(machine))
    others = in_collet(file.tools[1:])
    return f"; at each of its stops fit the tool that it names ({others}), {touch}, then resume"


def in_collet(tools: Sequence[Tool]) -> str:
    """The tools in the order they are fitted, those that stick out alike together."""
    alike = ((out, list(same)) for out, same in groupby(tools, key=lambda t: t.stick_out))
    return "; ".join(
        f"{', '.join(map(_named, same))}, {'each ' if len(same) > 1 else ''}{both(out)} "
        "out of the collet"
        for out, same in alike
    )


def _named(tool: Tool) -> str:
    return f"T{tool.number} {tool.shape} {_size(tool)}"


def _size(tool: Tool) -> str:
    pointed = tool.shape in (Shape.TAPERED_BALL, Shape.VEE)
    mm = tool.tip_label if pointed else tool.label
    return f"{mm:g} ({inches(mm, 3)})" + (f" at the tip, {tool.angle:g} deg" if pointed else "")
