"""Layers of a drawing as a laser's or router's profile may set them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from blankcam.data import table

VIEWS = ("plan", "plan slots", "ridge", "seat")
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


def changed(rows: Iterable[Mapping[str, Any]]) -> tuple[LayerRule, ...]:
    """The layers with a profile's rows laid over them: its order first, then the others.

    Parameters
    ----------
    rows : each with ``holds`` and any other fields of LayerRule, as the border checked them

    Raises
    ------
    ValueError
        A layer twice, two layers of one name, or a notice that is not shown.
    """
    known = {rule.holds: rule for rule in default_layers()}
    first: list[LayerRule] = []
    for row in rows:
        if row["holds"] not in known:
            raise ValueError(f"holds {row['holds']!r} twice")
        first.append(replace(known.pop(row["holds"]), **row))
        if first[-1].holds == "notice" and first[-1].work != "show":
            raise ValueError("the notice is shown in every file: its work can only be show")
    rules = (*first, *known.values())
    names = [rule.name.upper() for rule in rules]
    if twice := next((n for n in names if names.count(n) > 1), None):
        raise ValueError(f"two layers are named {twice}")
    return rules


def for_cutting(rules: tuple[LayerRule, ...]) -> tuple[LayerRule, ...]:
    """The layers without those that only a reader wants: what a careless machine might cut."""
    return tuple(replace(r, work="omit") if r.holds in VIEWS else r for r in rules)
