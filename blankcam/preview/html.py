"""Words and numbers into markup; every word from a job passes through here."""

from __future__ import annotations

import html
import json
from typing import Any

from blankcam.faults import printable
from blankcam.outputs.rows import Column, Section, Table, Value, bare, decimals

_UNSAFE = str.maketrans({"<": "\\u003c", ">": "\\u003e", "&": "\\u0026"})


def words(text: object, limit: int = 400) -> str:
    """Text made safe to stand in the page: controls (also of direction) shown, markup escaped."""
    return html.escape(printable(text, limit))


def el(name: str, /, *inner: str, **attributes: object) -> str:
    """An element; ``inner`` is markup already. Underscores in names become hyphens,
    ``cls`` class.
    """
    return f"<{name}{_attributes(attributes)}>{''.join(inner)}</{name}>"


def void(name: str, /, **attributes: object) -> str:
    """An element without content."""
    return f"<{name}{_attributes(attributes)}/>"


def _attributes(attributes: dict[str, object]) -> str:
    named = ((k.rstrip("_").replace("_", "-"), v) for k, v in attributes.items() if v is not None)
    return "".join(
        f" {'class' if k == 'cls' else k}="
        f'"{words(number(v) if isinstance(v, float) else v, 1_000_000)}"'
        for k, v in named
    )


def number(value: float, digits: int = 4) -> str:
    """A number as short as its digits allow, never ``-0``."""
    shown = f"{value:.{digits}f}".rstrip("0").rstrip(".")
    return "0" if shown in {"-0", ""} else shown


def fixed(value: float, digits: int, *, signed: bool = False) -> str:
    """A number with its digits, a true minus sign, never a negative zero."""
    shown = f"{value:+.{digits}f}" if signed else f"{value:.{digits}f}"
    if float(shown) == 0:
        shown = f"{0:.{digits}f}"
    return shown.replace("-", "\N{MINUS SIGN}")


def length(mm: float, digits: int = 2, *, name: str = "span", signed: bool = False,
           unit: bool = False, **attributes: object) -> str:  # fmt: skip
    """A length that the unit switch can turn into inches."""
    return el(
        name,
        fixed(mm, digits, signed=signed) + (" mm" if unit else ""),
        data_mm=f"{mm:.5f}",
        data_d=None if digits == 2 else digits,  # 2 unless said
        data_sign="1" if signed else None,
        data_u="1" if unit else None,
        **attributes,
    )


def render(section: Section) -> str:
    """A section with a table: its caption, a button that copies it, and its notes."""
    table = section.table
    if table is None:
        raise ValueError("only a section with a table is a figure")
    caption, shared = f"cap-{table.key}", _shared(table)
    name = words(section.title) + (f", {_unit(shared)}" if shared else "")
    copy = el(
        "button", "Copy", type="button", cls="copy", data_copy=table.key,
        aria_label=f"Copy table: {section.title}",
    )  # fmt: skip
    body = el(
        "table", _head(table, shared), el("tbody", *(_row(table.columns, r) for r in table.rows)),
        id=f"table-{table.key}", aria_labelledby=caption,
    )  # fmt: skip
    return el(
        "figure",
        el("figcaption", el("h3", name, id=caption), copy),
        el("div", body, cls="scroll", tabindex="0", role="region", aria_labelledby=caption),
        *(el("p", words(note, 600), cls="remark") for note in section.notes),
        cls=f"table {table.key}",
    )


def _head(table: Table, shared: str) -> str:
    """Headings with their units; those of words stand to the left, as their words do."""
    first: tuple[Value, ...] = table.rows[0] if table.rows else (0.0,) * len(table.columns)
    cells = (
        el("th", heading(c, shared), scope="col", cls="words" if isinstance(bare(v), str) else None)
        for c, v in zip(table.columns, first, strict=True)
    )
    return el("thead", el("tr", *cells))


def _shared(table: Table) -> str:
    """The unit that all numbers of a long row share, to be named once, in the caption."""
    units = {c.unit for c in table.columns[1:]}
    return units.pop() if len(units) == 1 and len(table.columns) > 6 else ""


def heading(column: Column, shared: str = "") -> str:
    """A column's title, and its unit where the caption does not name it."""
    title = words(f"{column.title[:1].upper()}{column.title[1:]}")
    return f"{title} {_unit(column.unit)}" if column.unit and column.unit != shared else title


def _unit(unit: str) -> str:
    """A unit; that of a length is switched by the page."""
    return words(unit).replace("mm", el("span", "mm", cls="unit"))


def _row(columns: tuple[Column, ...], row: tuple[Value, ...]) -> str:
    first, *rest = (cell(c, v) for c, v in zip(columns, row, strict=True))
    head = first.replace("<td", '<th scope="row"', 1).replace("</td>", "</th>")
    return el("tr", head, *rest)


def cell(column: Column, value: Value) -> str:
    """One cell of a table; a length can be switched to inches."""
    given, digits = bare(value), decimals(column, value)
    if given is None or isinstance(given, str):
        return el("td", words(given or ""), cls="words")
    if column.unit.startswith("mm"):
        return length(given, digits, name="td", signed=column.signed)
    return el("td", fixed(given, digits, signed=column.signed))


def data(value: Any) -> str:
    """JSON that can stand in a script element: nothing in it can end the element or the line."""
    text = json.dumps(value, ensure_ascii=True, separators=(",", ":"), allow_nan=False)
    return text.translate(_UNSAFE)
