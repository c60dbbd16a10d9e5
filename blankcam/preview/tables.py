"""Tables as HTML, each with a button that copies it."""

from __future__ import annotations

from blankcam.preview.html import cell, el, words
from blankcam.preview.model import Table

UNIT = '<span class="unit">mm</span>'


def table(t: Table) -> str:
    """One table; ``[mm]`` in a heading becomes the unit that is switched."""
    worded = [c.value is None for c in t.rows[0]] if t.rows else [False] * len(t.head)
    head = el(
        "tr",
        *(
            el("th", heading(h), scope="col", cls="words" if w else None)
            for h, w in zip(t.head, worded, strict=True)
        ),
    )
    rows = (
        el("tr", cell(r[0], "th").replace("<th", '<th scope="row"', 1), *(cell(c) for c in r[1:]))
        for r in t.rows
    )
    return el(
        "figure",
        el(
            "figcaption",
            el("h3", words(t.caption), id=f"cap-{t.key}"),
            el("button", "Copy", type="button", cls="copy", data_copy=t.key,
               aria_label=f"Copy table: {t.caption}"),
        ),
        el(
            "div",
            el("table", el("thead", head), el("tbody", *rows), id=f"table-{t.key}",
               aria_labelledby=f"cap-{t.key}"),
            cls="scroll", tabindex="0", role="region", aria_labelledby=f"cap-{t.key}",
        ),
        el("p", words(t.remark, 600), cls="remark") if t.remark else "",
        cls=f"table {t.key}",
    )  # fmt: skip


def heading(text: str) -> str:
    """A heading with its unit."""
    return words(text).replace("[mm]", UNIT)
