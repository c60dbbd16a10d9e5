"""The machine profiles as tables."""

from __future__ import annotations

from collections.abc import Mapping

from blankcam.inputs.machine import Axis, Holding, Profile
from blankcam.inputs.tool import Tool
from blankcam.outputs.rows import Column, Field, Section, Table, field, tabulate

TOOL: tuple[Field[Tool], ...] = (
    field("number", "number", lambda t: t.number),
    field("shape", "shape", lambda t: str(t.shape)),
    field("diameter", "diameter", lambda t: t.diameter, "mm", 3),
    field("flute_length", "flutes", lambda t: t.flute_length, "mm"),
    field("reach", "reach", lambda t: t.reach, "mm"),
    field("stick_out", "stick-out", lambda t: t.stick_out, "mm"),
    field("flutes", "edges", lambda t: t.flutes),
)

LISTED: tuple[Field[tuple[str, Profile]], ...] = (
    field("name", "name", lambda m: m[0]),
    field("kind", "kind", lambda m: str(m[1].kind)),
    field("tools", "tools", lambda m: len(m[1].tools)),
    field("words", "for", lambda m: m[1].words),
)


def machines(profiles: Mapping[str, Profile]) -> tuple[Section, ...]:
    """The list of machines."""
    notes = ("blankcam machines NAME shows one; a path checks a profile of your own",)
    table = tabulate("machines", LISTED, profiles.items())
    return (Section(title="Machines", table=table, notes=notes),)


def machine(profile: Profile) -> tuple[Section, ...]:
    """One machine in full."""
    tools = tabulate("tools", TOOL, profile.tools)
    return (
        Section(
            title=f"{profile.name} - {profile.kind}",
            table=_axes(profile),
            notes=tuple(_notes(profile)),
        ),
        Section(title="Tools", table=tools) if profile.tools else Section(title="Tools: none"),
    )


def _axes(p: Profile) -> Table:
    rows: tuple[tuple[str, Axis], ...] = (
        ("travel, mm", p.travel),
        ("rapid, mm/min", p.rapid),
        ("feed at most, mm/min", p.feed_max),
        ("acceleration, mm/s2", p.acceleration),
    )
    columns = (Column(key="what", title=""), *(Column(key=a, title=a) for a in "xyz"))
    return Table(
        key="axes",
        columns=columns,
        rows=tuple((what, f"{a.x:g}", f"{a.y:g}", f"{a.z:g}") for what, a in rows),
    )


def _jaws(held: Holding) -> str:
    if held.jaw_top == "auto":
        return "as high over the seat side as the cuts allow"
    return f"{held.jaws:g} mm over the seat side"


def _notes(p: Profile) -> tuple[str, ...]:
    c = p.controller
    arcs = ", ".join(sorted(c.arc_planes)) or "none"
    return (
        p.words,
        (
            f"spindle {p.spindle_min:g} to {p.spindle_max:g} rpm, {p.power:g} W at the cut; "
            f"force at most {p.force:g} N; clearance {p.clearance:g} mm"
        ),
        (
            f"arcs in {arcs}; tool change: {c.tool_change}; {c.units}; "
            f"lines up to {c.line_length} characters"
        ),
        (
            f"held in: {p.holding.kind}, {p.holding.grip} {_jaws(p.holding)}; "
            f"lying down: {p.holding.on_face}"
        ),
    )
