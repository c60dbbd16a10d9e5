"""What a drawing holds, and the layers that tell a laser or router what to do with it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from blankcam.data import table

VIEWS = ("plan", "plan slots", "ridge", "seat")
WORKS = ("cut", "mark", "show", "omit")


@dataclass(frozen=True, slots=True, kw_only=True)
class LayerRule:
    """One kind of line: the layer it is on and what is to be done with it."""

    holds: str
    """A key of data/layers.toml, such as ``outline``."""
    name: str
    """Of its layer in the file; lines that are worked alike share one."""
    line: str
    """Line type of ISO 128, a key of data/layers.toml's ``[lines]``."""
    width: float
    """Line width, mm."""
    colour: int
    """DXF colour index of its layer, 1 to 255."""
    work: str
    """``cut``, ``mark``, ``show``, or ``omit`` to leave it out of the file."""


def default_layers() -> tuple[LayerRule, ...]:
    """The rules of data/layers.toml, in their order of work: a layer and a colour an action."""
    return tuple(LayerRule(**_action(row["work"]), **row) for row in table("layers")["layers"])


def _action(work: str) -> dict[str, Any]:
    """The name and colour of the layer of one action; what is left out has the eye's."""
    actions: dict[str, dict[str, Any]] = table("layers")["actions"]
    return actions["show" if work == "omit" else work]


def changed(rows: Iterable[Mapping[str, Any]]) -> tuple[LayerRule, ...]:
    """The rules with a profile's rows laid over them: its order first, then the others.

    A row that changes the work alone moves its lines to that action's layer.

    Parameters
    ----------
    rows : each with ``holds`` and any other fields of LayerRule, as the border checked them

    Raises
    ------
    ValueError
        The same lines twice, a layer or colour that would stand for two actions, a layer of two
        colours, or a notice that is not shown.
    """
    known = {rule.holds: rule for rule in default_layers()}
    first: list[LayerRule] = []
    for row in rows:
        if row["holds"] not in known:
            raise ValueError(f"holds {row['holds']!r} twice")
        moved = _action(row["work"]) if "work" in row else {}
        first.append(replace(known.pop(row["holds"]), **{**moved, **row}))
        if first[-1].holds == "notice" and first[-1].work != "show":
            raise ValueError("the notice is shown in every file: its work can only be show")
    rules = (*first, *known.values())
    if wrong := next(_confusions(rules), None):
        raise ValueError(wrong)
    return rules


def _confusions(rules: Sequence[LayerRule]) -> Iterator[str]:
    """Layers and colours that would not tell a machine what to do."""
    works: dict[str | int, str] = {}
    colours: dict[str, int] = {}
    for rule in rules:
        if rule.work == "omit":
            continue
        name = rule.name.upper()
        if works.setdefault(name, rule.work) != rule.work:
            yield f"layer {name} would be both {works[name]} and {rule.work}: give each its own"
        if colours.setdefault(name, rule.colour) != rule.colour:
            yield f"layer {name} would have the colours {colours[name]} and {rule.colour}"
        if works.setdefault(rule.colour, rule.work) != rule.work:
            both = f"{works[rule.colour]} and {rule.work}"
            yield f"colour {rule.colour} would be both {both}: give each its own"


def for_cutting(rules: tuple[LayerRule, ...]) -> tuple[LayerRule, ...]:
    """The rules without what only a reader wants: what a careless machine might cut."""
    return tuple(replace(r, work="omit") if r.holds in VIEWS else r for r in rules)
