"""A maker's words inside Markdown: nothing in them acts as markup."""

from __future__ import annotations

from blankcam.faults import printable

_ACTING = "<>|`*_[]\\#"


def plain(text: str) -> str:
    """Words as plain text, what Markdown would act on as spaces."""
    return "".join(c if c.isprintable() and c not in _ACTING else " " for c in text)


def code(text: str) -> str:
    """A name letter by letter, as a span of code that may stand in a table's cell."""
    kept = "".join(c if c not in "`|" else "?" for c in printable(text, 200))
    return f"`{kept.strip() or '?'}`"
