"""The bench list: the work in the order it is done, as Markdown short enough for a wall.

Lengths are millimetres with inches in brackets, as its head says.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from itertools import groupby

from blankcam.cut import CutResult
from blankcam.inputs.job import BlankJob
from blankcam.inputs.machine import MachineKind, Profile
from blankcam.inputs.units import Units
from blankcam.machining.decision import Decision
from blankcam.machining.hand_work import all_by_hand
from blankcam.outputs.figures import both
from blankcam.outputs.papers import hand_steps, template_steps
from blankcam.outputs.papers.set_numbers import dry_first
from blankcam.outputs.papers.setup_steps import setup_steps
from blankcam.outputs.reasons import general_words
from blankcam.outputs.render import markdown
from blankcam.outputs.render.markdown import plain
from blankcam.outputs.rows import Column
from blankcam.outputs.tables.nut import edge_table, slot_table
from blankcam.outputs.tables.saddle import slant_words
from blankcam.parts.blank import Check
from blankcam.parts.design import Design
from blankcam.parts.part import FeatureKind, Part
from blankcam.parts.stage import Stage
from blankcam.safety import notice

SLOT_CARDS = "Each slot, cut across and along with its heights, is on a card of `sheet.pdf`."


def bench(
    design: Design,
    profile: Profile,
    stage: Stage,
    results: Mapping[str, CutResult],
) -> str:
    """The whole list.

    Parameters
    ----------
    results
        By the part's name; empty where the machine takes no programs.
    """
    job = design.job
    lines = [f"# Bench list: {plain(job.instrument.name)}", ""]
    lines += [_said(notice(job.blanks.material, str(profile.kind), by_hand=True)), ""]
    lines.append(
        f"Stage {stage}, {plain(profile.name)}, {job.blanks.material}, job digest {job.digest}. "
        "Lengths in mm (in). Left is as seen from the bridge; x counts from the part's left end."
    )
    if profile.known and results:
        lines += ["", _as_known(profile)]
    if programs := [f for result in results.values() for f in result.programs]:
        lines += ["", dry_first([f.program for f in programs], profile)]
    templates = profile.kind is MachineKind.LASER
    if templates:
        lines += ["", "## Templates", "", *_numbered(template_steps.steps(design, profile))]
    if any(part.slots for part in design.parts):
        lines += ["", SLOT_CARDS]
    for part in design.parts:
        result = results.get(part.name)
        work = _work(design, part, result, stage, templates=templates)
        lines += ["", f"## {part.name.capitalize()}", "", *_slanted(design, part)]
        lines += _numbered(_steps(design, work, result))
        if said := list(hand_steps.lines(work, profile.drawing.units)):
            lines += ["", *said]
        if part.slots:
            lines += ["", *_slot_table(part, work, profile.drawing.units)]
            lines += _step_table(design, work, profile.drawing.units)
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
    work: hand_steps.PartWork,
    result: CutResult | None,
) -> Iterator[str]:
    programs = result.files if result else ()
    checks = [c for c in design.checks if c.part == work.part.name]
    if work.part is design.nut:
        yield from hand_steps.board_end(design.stands_forward)
    yield _blank_step(work.part, checks, milled=work.milled(FeatureKind.THICKNESS))
    yield from hand_steps.before(work, checks)
    for _, run in groupby(programs, key=lambda p: p.setup):
        assert result is not None
        files = list(run)
        yield from setup_steps(result, files)
        yield from _after(work.part, {name for file in files for name in file.operation_names})
    if work.shaped:
        yield (
            "**Before unclamping**: stop the spindle, brush and vacuum; the height over the seat "
            f"side should be {both(hand_steps.highest(work))} at the highest."
        )
    yield from hand_steps.after(work)


def _after(part: Part, done: Container[str]) -> Iterator[str]:
    """What to do when a set-up has made these operations, before the blank is turned."""
    if "thickness" in done:
        yield (
            f"**Measure the thickness**: {both(part.fit.low, 3)} to {both(part.fit.high, 3)}; "
            "if it is thicker, rub off the rest."
        )
    if "outline" in done:
        yield (
            "**Free it**: saw through the tabs at both ends, near the seat side, and file them "
            "flush."
        )


def _slanted(design: Design, part: Part) -> Iterator[str]:
    """How the saddle's slot is slanted, where it is."""
    if part is design.saddle:
        for words in slant_words(part, design.job.saddle.front_at):
            yield from (f"{words[0].upper()}{words[1:]}.", "")


def _work(
    design: Design, part: Part, result: CutResult | None, stage: Stage, *, templates: bool
) -> hand_steps.PartWork:
    blank: BlankJob = getattr(design.job.blanks, part.name)
    return hand_steps.PartWork(
        part=part,
        stage=stage,
        decisions=result.decisions if result else all_by_hand(part, stage),
        templates=templates,
        grip=result.request.machine.holding.grip if result else "jaws",
        spare=(blank.length - part.length) / 2,
    )


def _blank_step(part: Part, checks: Iterable[Check], *, milled: bool) -> str:
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
            f"{words}; finished, between {both(part.fit.low, 3)} and {both(part.fit.high, 3)}, "
            f"{part.fit.name} {part.fit.code}"
        )
    return f"**Measure the blank**: {'; '.join(said)}."


def _as_known(profile: Profile) -> str:
    by = f"measured on {profile.measured}" if profile.measured else "its profile states it"
    return (
        f"The machine is taken as {by}, and its errors are made up for: each program's header says "
        "how good its slots can be. Come to X and Y zero with rising coordinates and to Z zero "
        "from above: coming the other way puts its play in again."
    )


def _slot_table(nut: Part, work: hand_steps.PartWork, units: Units) -> Iterator[str]:
    """Where each slot goes and who cuts it, then why, slots with the same reason together."""
    chosen = {c.string: c for c in work.slots}
    slots = slot_table(nut, chosen).pick("name", "centre", "width", "floor_front", "cutter")
    slots = slots.shown_to(width=2)
    by_hand = Column(key="hand", title="files in; depth from the top")
    table = slots.extended(by_hand, hand_steps.slots_by_hand(work, nut))
    yield markdown.table(table, units, shared="" if units == "in" else "mm")
    reasons: dict[str, list[Decision]] = {}
    for choice in (c for c in chosen.values() if c.reasons):
        reasons.setdefault(general_words(choice.reasons), []).append(choice)
    if reasons:
        yield ""
    for why, same in reasons.items():
        names = ", ".join(str(c.string) for c in same)
        yield f"- Slot{'s' if len(same) > 1 else ''} {names}: {plain(why)}."


def _step_table(design: Design, work: hand_steps.PartWork, units: Units) -> Iterator[str]:
    """The steps in a nut's front and who cuts them; nothing without nut compensation."""
    nut = design.nut
    if nut is None or not design.edges:
        return
    fronts = {d.string: d for d in work.decisions if d.feature.kind is FeatureKind.FRONT}
    edges = [e for e in design.edges if e.number in fronts]
    steps = edge_table(nut, edges, fronts).pick("name", "back", "left", "right", "bottom", "cutter")
    yield from ("", "Steps in the front: from and to count from the left end.", "")
    yield markdown.table(steps, units, shared="" if units == "in" else "mm")


def _then(profile: Profile, stage: Stage) -> Iterator[str]:
    yield "String it up, tune it, let it settle a day or two."
    yield (
        "**Measure** at pitch, with feeler gauges or a graded rule: the height of each open "
        "string's underside over the crown of fret 1 and of fret 12, and the relief. Write them "
        "into `readings.toml`."
    )
    what = "cut or file" if profile.cuts_programs else "file"
    if stage is Stage.ROUGH:
        yield (
            f"**Refit**: run `blankcam refit` with the readings; {what} what `refit.md` says, "
            "slots first, the nut's top last; string up, measure again, until it says "
            "`done`."
        )
        yield "Polish; glue only when all is right."
    else:
        yield (
            "Polish; if a reading is off, run `blankcam refit` with the readings and "
            '`stage = "final"` in them.'
        )
