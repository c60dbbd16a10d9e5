"""Words and numbers into markup; every word from a job passes through here."""

from __future__ import annotations

import html
import json
from typing import Any

from blankcam.faults import printable
from blankcam.preview.model import Cell

INCH = 25.4
_UNSAFE = {"<": "\\u003c", ">": "\\u003e", "&": "\\u0026"}


def words(text: object, limit: int = 400) -> str:
    """Text made safe to stand in the page: controls (also of direction) shown, markup escaped."""
    return html.escape(printable(text, limit))


def el(name: str, /, *inner: str, **attributes: object) -> str:
    """An element; ``inner`` is markup already. Underscores in names become hyphens, ``cls`` class."""
    return f"<{name}{_attributes(attributes)}>{''.join(inner)}</{name}>"


def void(name: str, /, **attributes: object) -> str:
    """An element without content."""
    return f"<{name}{_attributes(attributes)}/>"


def _attributes(attributes: dict[str, object]) -> str:
    named = ((k.rstrip("_").replace("_", "-"), v) for k, v in attributes.items() if v is not None)
    return "".join(
        f' {"class" if k == "cls" else k}="{words(number(v) if isinstance(v, float) else v, 1_000_000)}"'
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
        data_d=digits,
        data_sign="1" if signed else None,
        data_u="1" if unit else None,
        **attributes,
    )


def cell(c: Cell, name: str = "td") -> str:
    """One cell of a table."""
    if c.value is None:
        return el(name, words(c.words), cls="words")
    if c.unit == "mm":
        return length(c.value, c.digits, name=name, signed=c.signed)
    return el(name, fixed(c.value, c.digits, signed=c.signed))


def data(value: Any) -> str:
    """JSON that can stand in a script element: nothing in it can end the element or the line."""
    text = json.dumps(value, ensure_ascii=True, separators=(",", ":"), allow_nan=False)
    return "".join(_UNSAFE.get(c, c) for c in text)
