"""The bench list: the work in the order it is done, as Markdown short enough for a wall.

Lengths are millimetres with inches in brackets, as its head says.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import groupby

from blankcam.cutting.motion import Program
from blankcam.cutting.plan import Plan
from blankcam.cutting.slots import SlotChoice
from blankcam.job.lengths import inches
from blankcam.machine.profile import Profile
from blankcam.machine.tool import Shape, Tool
from blankcam.parts.blank import Check
from blankcam.parts.design import Design
from blankcam.parts.nut import Nut, Slot
from blankcam.parts.saddle import Saddle
from blankcam.parts.stage import Stage
from blankcam.writers.gcode import ENDING
from blankcam.writers.notice import notice

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
    lines = [f"# Bench list: {_plain(job.instrument.name)}", ""]
    lines += [_said(notice(job.blanks.material, str(profile.kind), by_hand=True)), ""]
    lines.append(
        f"Stage {stage}, {_plain(profile.name)}, {job.blanks.material}, job digest {job.digest}. "
        "Lengths in mm (in). Left and x: seen from the bridge, from the part's left end."
    )
    for part in (design.nut, design.saddle):
        steps = _steps(design, part, plans.get(part.name), seconds, stage)
        lines += ["", f"## {part.name.capitalize()}", ""]
        lines += [f"{i}. {words}" for i, words in enumerate(steps, start=1)]
        if isinstance(part, Nut):
            lines += ["", *_slot_table(part, plans.get(part.name), stage)]
    lines += ["", "## Then", ""]
    lines += [f"{i}. {words}" for i, words in enumerate(_then(stage), start=1)]
    return "\n".join([*lines, ""])


def _said(lines: Sequence[str]) -> str:
    """The notice as one paragraph, its head in bold."""
    head, *rest = lines
    return f"> **{head}** " + " ".join(rest)


def _steps(
    design: Design,
    part: Nut | Saddle,
    plan: Plan | None,
    seconds: Mapping[str, float],
    stage: Stage,
) -> Iterator[str]:
    programs = plan.programs if plan else ()
    done = {o.name for p in programs for o in p.operations}
    checks = [c for c in design.checks if c.part == part.name]
    yield _blank_step(part, checks, milled="thickness" in done)
    if "outline" not in done:
        yield (
            f"**Square** its seat side and its face toward the tail; saw to {_both(part.length)} "
            "long " + ("only after milling." if programs else "and file the ends.")
        )
    for setup, run in groupby(programs, key=lambda p: p.setup):
        yield from _setup_steps(part, list(run), setup, seconds)
    if not done & {"top", "crown"}:
        yield (
            f"**Top**: mark it from `sheet.pdf`, file down to the line; at the highest "
            f"{_both(_highest(part, stage))} over the seat side."
        )
    else:
        yield (
            "**Before unclamping**: spindle stopped, brush and vacuum; height over the seat side "
            f"at the highest {_both(_highest(part, stage))}."
        )
    if isinstance(part, Saddle) and part.ends == "round":
        where = "below the jaws' line" if "ends" in done else "all the way down"
        yield f"**Ends**: file them to a full round {where}."
    last = "Break the sharp edges, dry fit it in its seat; no glue yet."
    yield f"**Slots** as in the table. {last}" if isinstance(part, Nut) else last


def _blank_step(part: Nut | Saddle, checks: Iterable[Check], *, milled: bool) -> str:
    said = []
    for check in checks:
        words = f"{check.dimension} {_both(check.have)}"
        if check.dimension != "thickness":
            said.append(f"{words}, at least {_both(check.need)}")
            continue
        words = f"{check.dimension} {_both(check.have, 3)}"
        if check.rub_off > 0:
            verb = "the program mills off" if milled else "rub off"
            words += f": {verb} {_both(check.rub_off, 3)}"
        said.append(
            f"{words}; to end between {_both(part.fit.low, 3)} and {_both(part.fit.high, 3)}, "
            f"{part.fit.name} {part.fit.code}"
        )
    return f"**Measure the blank**: {'; '.join(said)}."


def _setup_steps(
    part: Nut | Saddle, programs: Sequence[Program], setup: str, seconds: Mapping[str, float]
) -> Iterator[str]:
    """Hold, tools, run, and what to do before the blank is turned."""
    first = programs[0]
    zero = _MM.sub(lambda m: _both(float(m[0][:-3]), len(m[1])), first.zero)
    yield f"**Hold {'on face' if setup == 'face' else 'on edge'}**: {_held(first)} Zero: {zero}."
    for program in programs:
        file = program.stem + ENDING
        about = max(1, round(seconds.get(file, 0.0) / 60))
        yield f"{_tools(program.tools)}; **run `{file}`**, dry first, about {about} min."
    done = {o.name for p in programs for o in p.operations}
    if "thickness" in done:
        yield (
            f"**Measure the thickness**: {_both(part.fit.low, 3)} to {_both(part.fit.high, 3)}; "
            "thicker: rub off the rest."
        )
    if "outline" in done:
        yield "**Free it**: saw through the tabs at the seat end of both ends, file them flush."


def _held(program: Program) -> str:
    held = program.holding
    if program.setup == "edge":
        return (
            f"{held.kind}, seat side down, jaws up to {_both(held.jaw_top)} over it; the face "
            "toward the tail looks to you."
        )
    lying = "seat side toward you"
    outline = "outline" in {o.name for o in program.operations}
    return {
        "clamps": f"a clamp at each end of the waste, reaching {_both(held.clamp_reach)} over it "
        f"and {_both(held.clamp_height)} high, a waste board under it; {lying}.",
        "fixture": f"between walls {_both(held.face_top)} high along seat side and top; {lying}.",
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
    words = "; ".join(f"{', '.join(names)}, {_both(out)} out of the collet" for out, names in runs)
    return f"**Fit** {words}"


def _size(tool: Tool) -> str:
    pointed = tool.shape in (Shape.TAPERED_BALL, Shape.VEE)
    mm = tool.tip_diameter if pointed else tool.diameter
    return f"{mm:g} ({inches(mm, 3)})" + (f" at the tip, {tool.angle:g} deg" if pointed else "")


def _slot_table(nut: Nut, plan: Plan | None, stage: Stage) -> Iterator[str]:
    chosen = {c.string: c for c in plan.slots} if plan else {}
    yield "| slot | centre | file, wide | floor over seat | by | by file |"
    yield "|---|---|---|---|---|---|"
    for slot in nut.slots:
        choice = chosen.get(slot.string)
        yield (
            f"| {slot.string} {_plain(slot.note)} | {_both(slot.centre)} | {_both(slot.width, 3)} "
            f"| {_both(slot.floor_front)} | {_by(choice)} | {_by_hand(nut, slot, choice, stage)} |"
        )
    reasons: dict[str, list[SlotChoice]] = {}
    for choice in chosen.values():
        reasons.setdefault(_reason(choice), []).append(choice)
    if reasons:
        yield ""
    for why, same in reasons.items():
        names = ", ".join(str(c.string) for c in same)
        yield f"- Slot{'s' if len(same) > 1 else ''} {names}: {_plain(why)}."


def _reason(choice: SlotChoice) -> str:
    """Why, without the figures of that one slot."""
    spare = "narrower than its slot by 0.05 mm or more, with flutes longer than it is deep"
    why = re.sub(r"(?<=largest ball) of [\d.]+ mm or less", f" {spare}", choice.why)
    return _OWN.sub("", why)


def _by(choice: SlotChoice | None) -> str:
    if choice is not None and choice.tool is not None:
        return f"T{choice.tool.number}"
    return f"nick T{choice.nick.number}" if choice and choice.nick else "file"


def _by_hand(nut: Nut, slot: Slot, choice: SlotChoice | None, stage: Stage) -> str:
    if choice is not None and choice.by == "mill":
        left = nut.slot_raise(stage)
        return f"{_both(left)} deeper once strung" if left > 0 else "polish"
    top = nut.allowance if stage is Stage.ROUGH else 0.0
    return (
        f"{_both(slot.depth_front + top)} from the top, its last {_both(nut.hold_back)} once strung"
    )


def _then(stage: Stage) -> Iterator[str]:
    yield "String it up, tune it, let it settle a day or two."
    yield "Measure the clearance over fret 1 and over fret 12 of each string, and the relief."
    if stage is Stage.ROUGH:
        yield "Run `blankcam refit` with the readings; cut or file what it says, then polish."
    else:
        yield "Polish; if a reading is off, run `blankcam refit` with the readings."


def _highest(part: Nut | Saddle, stage: Stage) -> float:
    return part.height + (part.allowance if stage is Stage.ROUGH else 0.0)


def _both(mm: float, places: int = 2) -> str:
    return f"{mm:.{places}f} ({inches(mm, places + 1)})"


def _plain(text: str) -> str:
    """A maker's words without what Markdown would act on."""
    return "".join(c if c.isprintable() and c not in "<>|`*_[]\\#" else " " for c in text)
