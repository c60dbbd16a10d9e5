"""Sections as Markdown; nothing in a maker's words acts as markup."""

from __future__ import annotations

from blankcam.faults import printable
from blankcam.inputs.units import Units
from blankcam.outputs.figures import cells, heading
from blankcam.outputs.rows import Section, Table

_ACTING = "<>|`*_[]\\#"


def render(section: Section, level: int = 2, units: Units = "both") -> str:
    """A section under its heading; its steps and notes are Markdown already."""
    parts = [f"{'#' * level} {plain(section.title)}"] if section.title else []
    if section.steps:
        parts.append("\n".join(f"{i}. {words}" for i, words in enumerate(section.steps, start=1)))
    if section.table is not None and section.table.rows:
        parts.append(table(section.table, units))
    parts += section.notes
    return "\n\n".join(parts)


def table(rows: Table, units: Units = "both", *, shared: str = "") -> str:
    """A table; a column whose unit is ``shared``, named elsewhere, has its title alone."""
    heads = [c.title if c.unit == shared else heading(c, units) for c in rows.columns]
    lines = [heads, ["---"] * len(heads), *([plain(c) for c in r] for r in cells(rows, units))]
    return "\n".join(f"| {' | '.join(line)} |" for line in lines)


def plain(text: str) -> str:
    """Words as plain text, what Markdown would act on as spaces."""
    return "".join(c if c.isprintable() and c not in _ACTING else " " for c in text)


def code(text: str) -> str:
    """A name letter by letter, as a span of code that may stand in a table's cell."""
    kept = "".join(c if c not in "`|" else "?" for c in printable(text, 200))
    return f"`{kept.strip() or '?'}`"
