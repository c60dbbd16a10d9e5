"""The test piece on paper: how to cut it, where to measure it, and the file to fill in."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from shlex import quote

from blankcam.calibration.estimate import Guess, first_guess
from blankcam.calibration.measures import Measure, scale
from blankcam.calibration.piece import Coupon
from blankcam.calibration.true_profile import Found, FoundAxis, FoundTool
from blankcam.faults import printable
from blankcam.gcode.header import tool_words, zero_words
from blankcam.gcode.program_file import ProgramFile
from blankcam.inputs.machine import Profile
from blankcam.outputs.figures import both
from blankcam.outputs.papers.set_numbers import dry_first, to_set
from blankcam.outputs.papers.setup_steps import fitted, runs
from blankcam.outputs.render import toml_text
from blankcam.outputs.render.markdown import plain
from blankcam.outputs.rows import Field, Section, field, tabulate
from blankcam.safety import notice
from blankcam.toolpath.moves import Program

PICTURE = "coupon.svg"
TO_FILL = "coupon.toml"
TIMES = {"piece": 3, "lands": 2, "steps": 2}
"""How often each is to be measured."""
WHAT_FOR = (
    "Cut this piece, measure it, and blankcam knows how wide each tool really cuts, how far each "
    "tool's zero is off, and how the axes move. Lengths are mm (in)."
)
OFTEN = ("A", "B", "C", "D", "AB", "CD")
"""What all else leans on is measured once more."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CouponFacts:
    """What the papers of a test piece say."""

    piece: Coupon
    profile: Profile
    material: str
    measures: tuple[Measure, ...]
    programs: tuple[ProgramFile, ...]
    machine: str
    """As the command named it."""
    asked: tuple[int, ...]
    """Numbers of the tools that were asked for; empty for all."""
    digest: str
    """Of the piece."""


def times(measure: Measure) -> int:
    """How often a thing is to be measured."""
    return TIMES[measure.table] + (measure.table == "lands" and measure.name in OFTEN)


def where(piece: Coupon, measure: Measure) -> str:
    """Where the caliper is put, in words."""
    if measure.table == "piece":
        return "from the underside to the top at the mark, where the tools were touched off"
    if measure.table == "steps":
        step = next(s for s in piece.steps if s.land.name == measure.name)
        at = _at("x", step.land.low, step.land.high)
        return f"from the underside to the step of {measure.name}, tool {step.tool.number}, {at}"
    if len(measure.name) == 2 and measure.name in ("AB", "CD"):
        sides = ("left", "right") if measure.name == "AB" else ("front", "back")
        first, last = measure.name[0], measure.name[1]
        a, b = piece.land(first), piece.land(last)
        at = f"tool {a.tool.number}, {_at(a.axis, a.low, b.high)}"
        return f"from the {sides[0]} wall of {first} to the {sides[1]} wall of {last}, {at}"
    land = piece.land(measure.name)
    across = "left to right" if land.axis == "x" else "front to back"
    at = _at(land.axis, land.low, land.high)
    return f"across land {measure.name}, {across}, tool {land.tool.number}, {at}"


def _at(axis: str, low: float, high: float) -> str:
    return f"{axis} {low:.1f} to {high:.1f}"


# -- the list ----------------------------------------------------------------------------------


def paper(facts: CouponFacts) -> str:
    """The list as Markdown."""
    piece, profile = facts.piece, facts.profile
    warn = "  \n".join(f"> {line}" for line in notice(facts.material, str(profile.kind)))
    parts = [
        f"# Test piece: {plain(profile.name)}",
        warn,
        WHAT_FOR,
        f"![the piece from above and from the front]({PICTURE})",
        "## Cut it",
        _numbered(_cutting(facts)),
        "## Measure it",
        _numbered(_measuring()),
        _table(facts),
        "## Then",
        _then(facts),
    ]
    parts += ["## Not measured", _left_out(piece)]
    return "\n\n".join(parts) + "\n"


def _then(facts: CouponFacts) -> str:
    name = quote(printable(facts.machine, 300))
    command = f"blankcam coupon --machine {name} --measured {TO_FILL} --out DIR"
    return f"Write what you read into `{TO_FILL}`, then:\n\n    {command}"


def _numbered(steps: Iterator[str]) -> str:
    return "\n".join(f"{i}. {step}" for i, step in enumerate(steps, start=1))


def _cutting(facts: CouponFacts) -> Iterator[str]:
    piece, profile = facts.piece, facts.profile
    jaws = profile.holding.jaws
    yield (
        f"**Saw** a strip of {facts.material}, or of what you cut most: {both(piece.length, 1)} "
        f"long and no longer, {both(piece.thickness, 1)} wide, at least {both(piece.height, 1)} "
        "thick, its two faces flat and parallel within 0.02 mm: the measures depend on that. A "
        "thicker one will do: the program counts from the top."
    )
    yield (
        "**Hold** it lying flat in the vice, its front edge toward you, down on parallels, its "
        f"ends free; jaws at most {both(jaws, 1)} over what it stands on, and at least "
        f"{both(piece.height - jaws, 1)} of it above them."
    )
    x, y = piece.mark
    yield (
        f"**Mark** the top {both(x, 0)} from the left end and {both(y, 0)} from the front edge: "
        "nothing is cut there, and every tool is touched off on it."
    )
    over, *cutting = facts.programs
    yield _zero(over.program, profile)
    yield dry_first([file.program for file in cutting], profile)
    yield from runs(facts.programs, profile)
    yield (
        "**Take it out** once the spindle stands still; brush chips and burrs off without rounding "
        "an edge."
    )


def _zero(program: Program, profile: Profile) -> str:
    """With what, on what and to which numbers the piece is zeroed, and how."""
    return (
        f"**Zero**, {fitted(program, profile)} (an edge finder goes in first): "
        f"{zero_words(program.zeros, to_set(profile))} Come to X and Y with rising coordinates, "
        "where 0.1 mm is near enough, and to Z from above, with the feeler or paper, and the feel, "
        "that you use for every job: how far your touch is off is measured too."
    )


def _measuring() -> Iterator[str]:
    yield (
        "**Caliper**: wipe and close it, set it to zero. Read 0.01 mm. A micrometer is better "
        "where its faces go in."
    )
    yield (
        "**Lands**: the jaws' flats against both walls, near the top, behind the step; square to "
        "the land, light pressure. Take it away between two readings."
    )
    yield (
        "**Steps**: one jaw flat under the piece, the other on the step at the front edge, not on "
        "a burr. Where no caliper goes in: a depth rod from the top at the land's back end; write "
        "thickness less depth."
    )
    yield "**Write** every reading down as it is, also when it is not what the drawing says."


def _table(facts: CouponFacts) -> str:
    most = max(times(m) for m in facts.measures)
    heads = ["key", "where", "drawn", *(f"reading {i}" for i in range(1, most + 1))]
    rows = [heads, ["---"] * len(heads)]
    for m in facts.measures:
        blank = ["" if i < times(m) else "-" for i in range(most)]
        rows.append([f"`{m.key}`", where(facts.piece, m), both(m.nominal), *blank])
    return "\n".join(f"| {' | '.join(row)} |" for row in rows)


def _left_out(piece: Coupon) -> str:
    deepest, within = max(s.deep for s in piece.steps), first_guess(scale("z"), 0.0).within
    z_scale = (
        f"The scale of Z: the deepest step lies only {both(deepest)} under the top, where a "
        f"caliper tells nothing of it. It is taken as true within {100 * within:.2f} %."
    )
    lines = [z_scale, *(f"{tool_words(tool)}: {why}" for tool, why in piece.left_out)]
    return "\n".join(f"- {line}" for line in lines)


# -- the file to fill in -----------------------------------------------------------------------


def to_fill_in(facts: CouponFacts) -> str:
    """coupon.toml with every key as a comment, and what it is."""
    lines = [
        *(f"# {line}" for line in notice(facts.material, str(facts.profile.kind))),
        "",
        "# What you measured on the test piece. Fill in each reading and take the # before it",
        "# away; leave out what you could not measure. A reading is a length with its unit.",
        '# measured = "2026-03-21"          # the day',
        '# caliper = "0.02 mm"              # what your caliper is good to',
        '# twice = ["lands.A"]              # keys that you measured again and that are right',
        f"machine = {toml_text.text(facts.profile.name[:200])}",
        f'piece_digest = "{facts.digest}"',
    ]
    if facts.asked:
        lines.append(f"tools = [{', '.join(map(str, facts.asked))}]")
    for table in ("piece", "lands", "steps"):
        lines += ["", f"[{table}]"]
        lines += [_to_fill(facts.piece, m) for m in facts.measures if m.table == table]
    return "\n".join(lines) + "\n"


def _to_fill(piece: Coupon, measure: Measure) -> str:
    blanks = ", ".join(['" mm"'] * times(measure))
    words = f"{where(piece, measure)}: about {measure.nominal:.2f} mm"
    return f"# {measure.name} = [{blanks}]    # {words}"


# -- what was found ----------------------------------------------------------------------------


def found_sections(found: Found) -> tuple[Section, ...]:
    """What a test piece says of the machine, beside what it was taken for."""
    return (_tools(found), _axes(found))


def _tools(found: Found) -> Section:
    fields: tuple[Field[FoundTool], ...] = (
        field("number", "tool", lambda t: t.tool.number),
        field("sold", "sold as", lambda t: t.tool.label, "mm", 3),
        field("cuts", "cuts", _cuts, "mm", 3),
        field("within", "good to", lambda t: _within(t.wide), "mm", 3),
        field("z", "tip off", lambda t: t.z_offset.value if t.z_offset else None, "mm", 3),
        field("z_within", "good to", lambda t: _within(t.z_offset), "mm", 3),
    )
    return Section(
        title="Tools as they cut",
        table=tabulate("tools", fields, sorted(found.tools, key=lambda t: t.tool.number)),
    )


def _cuts(found: FoundTool) -> float | None:
    return found.tool.label + found.wide.value if found.wide else None


def _within(guess: Guess | None) -> float | None:
    return guess.within if guess else None


def _axes(found: Found) -> Section:
    fields: tuple[Field[FoundAxis], ...] = (
        field("axis", "axis", lambda a: a.axis.upper()),
        field("backlash", "backlash", lambda a: max(a.backlash.value, 0.0), "mm", 3),
        field("within", "good to", lambda a: a.backlash.within, "mm", 3),
        field("scale", "scale, %", lambda a: 100 * a.scale.value, "", 3),
        field("scale_within", "good to, %", lambda a: 100 * a.scale.within, "", 3),
    )
    return Section(
        title="Axes as they move",
        table=tabulate("axes", fields, found.axes),
        notes=tuple(_not_measured(found)),
    )


def _not_measured(found: Found) -> Iterator[str]:
    for axis in found.axes:
        what = [
            name
            for name, known in (
                ("backlash", axis.backlash_measured),
                ("scale", axis.scale_measured),
            )
            if not known
        ]
        if what:
            said = " and ".join(what)
            yield f"{axis.axis.upper()}: {said} not measured, taken as none and as unsure as before"
