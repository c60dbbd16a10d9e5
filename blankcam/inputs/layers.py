"""Layers of a drawing as a laser's or router's profile may set them."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import Any

from blankcam.data import table

VIEWS = ("plan", "plan slots", "ridge", "seat")
_NAME = re.compile(r"[A-Za-z0-9_-]{1,31}")
WORKS = ("cut", "mark", "show", "omit")


@dataclass(frozen=True, slots=True, kw_only=True)
class LayerRule:
    """One layer: what it holds and what is to be done with it."""

    holds: str
    """A key of data/layers.toml, such as ``outline``."""
    name: str
    """As it is called in the file."""
    line: str
    """Line type of ISO 128, a key of data/layers.toml's ``[lines]``."""
    width: float
    """Line width, mm."""
    colour: int
    """DXF colour index, 1 to 255."""
    work: str
    """``cut``, ``mark``, ``show``, or ``omit`` to leave it out of the file."""


def default_layers() -> tuple[LayerRule, ...]:
    """The layers of data/layers.toml, in their order of work."""
    return tuple(LayerRule(**row) for row in table("layers")["layers"])


def changed(rows: tuple[dict[str, Any], ...]) -> tuple[LayerRule, ...]:
    """The layers with a profile's rows laid over them: its order first, then the others.

    Each row has ``holds`` and any other field of LayerRule.

    Raises
    ------
    ValueError
        A row that holds nothing known, a field that is none, two layers of one name.
    """
    known = {rule.holds: rule for rule in default_layers()}
    first: list[LayerRule] = []
    for row in rows:
        held = row.get("holds")
        if not isinstance(held, str) or held not in known:
            raise ValueError(f"holds {held!r}: not known, use one of {', '.join(known)}")
        first.append(_with(known.pop(held), row))
    rules = (*first, *known.values())
    names = [rule.name.upper() for rule in rules]
    if twice := next((n for n in names if names.count(n) > 1), None):
        raise ValueError(f"two layers are named {twice}")
    return rules


def for_cutting(rules: tuple[LayerRule, ...]) -> tuple[LayerRule, ...]:
    """The layers without those that only a reader wants: what a careless machine might cut."""
    return tuple(replace(r, work="omit") if r.holds in VIEWS else r for r in rules)


def _with(rule: LayerRule, row: dict[str, Any]) -> LayerRule:
    fields = set(LayerRule.__dataclass_fields__)
    if strange := sorted(set(row) - fields):
        raise ValueError(f"{strange[0]!r} is no field of a layer, use {', '.join(sorted(fields))}")
    made = replace(rule, **row)
    if made.work not in WORKS:
        raise ValueError(f"work {made.work!r}: use one of {', '.join(WORKS)}")
    if made.holds == "notice" and made.work != "show":
        raise ValueError("the notice is shown in every file: work can only be show")
    if made.line not in table("layers")["lines"]:
        raise ValueError(f"line {made.line!r}: use one of {', '.join(table('layers')['lines'])}")
    if type(made.colour) is not int or not 1 <= made.colour <= 255:
        raise ValueError(f"colour {made.colour!r}: a DXF colour index is 1 to 255")
    if type(made.width) not in (int, float) or not 0.05 <= made.width <= 2:
        raise ValueError(f"width {made.width!r}: a number of millimetres, 0.05 to 2")
    if not isinstance(made.name, str) or not _NAME.fullmatch(made.name):
        raise ValueError(f"name {made.name!r}: up to 31 letters, digits, - and _")
    return made
