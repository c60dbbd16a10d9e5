"""The bench list: the work in the order it is done, as Markdown short enough for a wall.

Lengths are millimetres with inches in brackets, as its head says.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import groupby

from blankcam.gcode.writer import ENDING
from blankcam.inputs.job import BlankJob
from blankcam.inputs.machine import Kind, Profile
from blankcam.inputs.tool import Shape, Tool
from blankcam.inputs.units import inches
from blankcam.machining.slots import SlotChoice
from blankcam.outputs.figures import both
from blankcam.outputs.papers import hand_steps, template_steps
from blankcam.outputs.render.markdown import plain
from blankcam.parts.blank import Check
from blankcam.parts.design import Design
from blankcam.parts.nut import Nut
from blankcam.parts.part import Stage
from blankcam.parts.saddle import Saddle
from blankcam.safety import notice
from blankcam.toolpath.build import Plan
from blankcam.toolpath.moves import Program

_OWN = re.compile(
    r"(?<=slot) of [\d.]+ mm|(?<=walls) to [\d.]+ mm|, flutes [\d.]+ mm(?= for)"
    r"| for [\d.]+ mm deep"
)
"""What a choice's reason says of its one slot; without it slots with the same reason are one."""
_MM = re.compile(r"\d+\.(\d+) mm")


def bench(
    design: Design,
    profile: Profile,
    stage: Stage,
    plans: Mapping[str, Plan],
    seconds: Mapping[str, float],
) -> str:
    """The whole list.

    Parameters
    ----------
    plans
        By the part's name; empty where the machine takes no programs.
    seconds
        The estimate of each program by its file's name.
    """
    job = design.job
    lines = [f"# Bench list: {plain(job.instrument.name)}", ""]
    lines += [_said(notice(job.blanks.material, str(profile.kind), by_hand=True)), ""]
    lines.append(
        f"Stage {stage}, {plain(profile.name)}, {job.blanks.material}, job digest {job.digest}. "
        "Lengths in mm (in). Left and x: seen from the bridge, from the part's left end."
    )
    templates = profile.kind is Kind.LASER
    if templates:
        lines += ["", "## Templates", "", *_numbered(template_steps.steps(design, profile))]
    for part in (design.nut, design.saddle):
        plan = plans.get(part.name)
        work = _work(design, part, plan, stage, templates=templates)
        lines += ["", f"## {part.name.capitalize()}", ""]
        lines += _numbered(_steps(design, work, plan, seconds))
        if said := list(hand_steps.lines(work)):
            lines += ["", *said]
        if isinstance(part, Nut):
            lines += ["", *_slot_table(part, work)]
    lines += ["", "## Then", ""]
    lines += _numbered(_then(profile, stage))
    return "\n".join([*lines, ""])


def _numbered(steps: Iterable[str]) -> list[str]:
    return [f"{i}. {words}" for i, words in enumerate(steps, start=1)]


def _said(lines: Sequence[str]) -> str:
    """The notice as one paragraph, its head in bold."""
    head, *rest = lines
    return f"> **{head}** " + " ".join(rest)


def _steps(
    design: Design,
    work: hand_steps.Work,
    plan: Plan | None,
    seconds: Mapping[str, float],
) -> Iterator[str]:
    programs = plan.programs if plan else ()
    checks = [c for c in design.checks if c.part == work.part.name]
    yield _blank_step(work.part, checks, milled="thickness" in work.done)
    yield from hand_steps.before(work, checks)
    for setup, run in groupby(programs, key=lambda p: p.setup):
        yield from _setup_steps(work.part, list(run), setup, seconds)
    if work.shaped:
        yield (
            "**Before unclamping**: spindle stopped, brush and vacuum; height over the seat side "
            f"at the highest {both(hand_steps.highest(work))}."
        )
    yield from hand_steps.after(work)


def _work(
    design: Design, part: Nut | Saddle, plan: Plan | None, stage: Stage, *, templates: bool
) -> hand_steps.Work:
    blank: BlankJob = getattr(design.job.blanks, part.name)
    return hand_steps.Work(
        part=part,
        stage=stage,
        done=frozenset(o.name for p in plan.programs for o in p.operations)
        if plan
        else frozenset(),
        slots=plan.slots if plan else (),
        templates=templates,
        spare=(blank.length - part.length) / 2,
    )


def _blank_step(part: Nut | Saddle, checks: Iterable[Check], *, milled: bool) -> str:
    said = []
    for check in checks:
        words = f"{check.dimension} {both(check.have)}"
        if check.dimension != "thickness":
            said.append(f"{words}, at least {both(check.need)}")
            continue
        words = f"{check.dimension} {both(check.have, 3)}"
        if check.rub_off > 0:
            verb = "the program mills off" if milled else "rub off"
            words += f": {verb} {both(check.rub_off, 3)}"
        said.append(
            f"{words}; to end between {both(part.fit.low, 3)} and {both(part.fit.high, 3)}, "
            f"{part.fit.name} {part.fit.code}"
        )
    return f"**Measure the blank**: {'; '.join(said)}."


def _setup_steps(
    part: Nut | Saddle, programs: Sequence[Program], setup: str, seconds: Mapping[str, float]
) -> Iterator[str]:
    """Hold, tools, run, and what to do before the blank is turned."""
    first = programs[0]
    zero = _MM.sub(lambda m: both(float(m[0][:-3]), len(m[1])), first.zero)
    yield f"**Hold {'on face' if setup == 'face' else 'on edge'}**: {_held(first)} Zero: {zero}."
    for program in programs:
        file = program.stem + ENDING
        about = max(1, round(seconds.get(file, 0.0) / 60))
        yield f"{_tools(program.tools)}; **run `{file}`**, dry first, about {about} min."
    done = {o.name for p in programs for o in p.operations}
    if "thickness" in done:
        yield (
            f"**Measure the thickness**: {both(part.fit.low, 3)} to {both(part.fit.high, 3)}; "
            "thicker: rub off the rest."
        )
    if "outline" in done:
        yield "**Free it**: saw through the tabs at the seat end of both ends, file them flush."


def _held(program: Program) -> str:
    held = program.holding
    if program.setup == "edge":
        return (
            f"{held.kind}, seat side down, jaws up to {both(held.jaw_top)} over it; the face "
            "toward the tail looks to you."
        )
    lying = "seat side toward you"
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


def _tools(tools: Sequence[Tool]) -> str:
    """The tools in the order they are fitted, those that stick out alike together."""
    runs = [
        (out, [f"T{t.number} {t.shape} {_size(t)}" for t in same])
        for out, same in groupby(tools, key=lambda t: t.stick_out)
    ]
    words = "; ".join(f"{', '.join(names)}, {both(out)} out of the collet" for out, names in runs)
    return f"**Fit** {words}"


def _size(tool: Tool) -> str:
    pointed = tool.shape in (Shape.TAPERED_BALL, Shape.VEE)
    mm = tool.tip_diameter if pointed else tool.diameter
    return f"{mm:g} ({inches(mm, 3)})" + (f" at the tip, {tool.angle:g} deg" if pointed else "")


def _slot_table(nut: Nut, work: hand_steps.Work) -> Iterator[str]:
    chosen = {c.string: c for c in work.slots}
    yield "| slot | centre | wide | floor over seat | by | files in; depth from the top |"
    yield "|---|---|---|---|---|---|"
    for slot in nut.slots:
        choice = chosen.get(slot.string)
        milled = choice is not None and choice.by == "mill"
        yield (
            f"| {slot.string} {plain(slot.note)} | {both(slot.centre)} | {both(slot.width)} "
            f"| {both(slot.floor_front)} | {_by(choice)} "
            f"| {hand_steps.slot_by_hand(work, nut, slot, milled=milled)} |"
        )
    reasons: dict[str, list[SlotChoice]] = {}
    for choice in chosen.values():
        reasons.setdefault(_reason(choice), []).append(choice)
    if reasons:
        yield ""
    for why, same in reasons.items():
        names = ", ".join(str(c.string) for c in same)
        yield f"- Slot{'s' if len(same) > 1 else ''} {names}: {plain(why)}."


def _reason(choice: SlotChoice) -> str:
    """Why, without the figures of that one slot."""
    spare = "narrower than its slot by 0.05 mm or more, with flutes longer than it is deep"
    why = re.sub(r"(?<=largest ball) of [\d.]+ mm or less", f" {spare}", choice.why)
    return _OWN.sub("", why)


def _by(choice: SlotChoice | None) -> str:
    if choice is not None and choice.tool is not None:
        return f"T{choice.tool.number}"
    return f"nick T{choice.nick.number}" if choice and choice.nick else "file"


def _then(profile: Profile, stage: Stage) -> Iterator[str]:
    yield "String it up, tune it, let it settle a day or two."
    yield (
        "**Measure**, feeler gauges or a graded rule, tuned: each string's underside over the "
        "crown of fret 1 and of fret 12, open; the relief. Write them into `readings.toml`."
    )
    what = "cut or file" if profile.cuts_programs else "file"
    if stage is Stage.ROUGH:
        yield (
            f"**Refit**: run `blankcam refit` with the readings; {what} what `refit.md` says, "
            "slots first, the nut's top last, until the slots are as deep as it says; string up, "
            "measure again."
        )
        yield "Polish; glue only when all is right."
    else:
        yield (
            "Polish; if a reading is off, run `blankcam refit` with the readings and "
            '`stage = "final"` in them.'
        )
