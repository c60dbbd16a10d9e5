"""The columns of a refit: what each string asks for, and how slots and ridge come down."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from blankcam.outputs.rows import Field, Table, field, tabulate
from blankcam.parts.saddle import Saddle, Seat
from blankcam.parts.slot import Slot
from blankcam.refit.needs import StringCut

NEED: tuple[Field[StringCut], ...] = (
    field("name", "string", lambda s: f"{s.number} {s.note}"),
    field("string", "string", lambda s: s.number),
    field("note", "note", lambda s: s.note),
    field("nut_need", "slot too high by", lambda s: s.nut_need, "mm", 3, signed=True),
    field("nut_take", "take off its slot", lambda s: s.nut_take, "mm", 3),
    field("saddle_need", "saddle too high by", lambda s: s.saddle_need, "mm", 3, signed=True),
    field("saddle_take", "take off the saddle", lambda s: s.saddle_take, "mm", 3),
    field("nut_short", "slot too low by", lambda s: s.nut_short, "mm", 3),
    field("saddle_short", "saddle too low by", lambda s: s.saddle_short, "mm", 3),
    field("first_fret_after", "fret 1 then", lambda s: s.first_fret_after, "mm"),
    field("action_after", "fret 12 then", lambda s: s.action_after, "mm"),
)


def need_table(strings: Iterable[StringCut]) -> Table:
    """A row a string: what is too high, what comes off, what will be read after it."""
    return tabulate("needs", NEED, strings)


@dataclass(frozen=True, slots=True, kw_only=True)
class Lowered:
    """A slot before and after."""

    before: Slot
    after: Slot


FLOOR: tuple[Field[Lowered], ...] = (
    field("name", "string", lambda s: f"{s.after.string} {s.after.note}"),
    field("string", "string", lambda s: s.after.string),
    field("note", "note", lambda s: s.after.note),
    field("floor_before", "floor now", lambda s: s.before.floor_front, "mm", 3),
    field("floor_after", "floor then", lambda s: s.after.floor_front, "mm", 3),
    field("off", "take off", lambda s: s.before.floor_front - s.after.floor_front, "mm", 3),
    field("depth_after", "depth then", lambda s: s.after.depth_front, "mm", 3),
)


def floor_table(before: Iterable[Slot], after: Iterable[Slot]) -> Table:
    """A row a slot; floors over the seat, depths under the top as it will be, at the front edge."""
    pairs = (Lowered(before=b, after=a) for b, a in zip(before, after, strict=True))
    return tabulate("floors", FLOOR, pairs)


@dataclass(frozen=True, slots=True, kw_only=True)
class Ridge:
    """The ridge at one string before and after, heights over the saddle's underside."""

    seat: Seat
    now: float
    then: float


RIDGE: tuple[Field[Ridge], ...] = (
    field("name", "string", lambda r: f"{r.seat.string} {r.seat.note}"),
    field("centre", "from the left end", lambda r: r.seat.centre, "mm"),
    field("now", "ridge now", lambda r: r.now, "mm", 3),
    field("then", "ridge then", lambda r: r.then, "mm", 3),
    field("off", "take off", lambda r: r.now - r.then, "mm", 3),
)


def ridge_table(before: Saddle, after: Saddle) -> Table:
    """A row a string where the saddle's top is cut anew."""
    return tabulate("ridge", RIDGE, (_ridge(before, after, seat) for seat in after.strings))


def _ridge(before: Saddle, after: Saddle, seat: Seat) -> Ridge:
    x = np.array(seat.centre)
    return Ridge(seat=seat, now=float(before.top.height(x)), then=float(after.top.height(x)))
