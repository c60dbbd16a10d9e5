"""The columns of a refit: what each string asks for, and how slots and ridge come down."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from blankcam.outputs.rows import Field, Table, field, tabulate
from blankcam.parts.saddle import Saddle, Seat
from blankcam.parts.slot import Slot
from blankcam.refit.verdict import StringVerdict


def _span(mean: float, band: float) -> str:
    return f"{mean:.2f} ± {band:.2f}"


def _off(mm: float) -> float | None:
    """What comes off, nothing where nothing does."""
    return mm or None


VERDICT: tuple[Field[StringVerdict], ...] = (
    field("name", "string", lambda v: f"{v.number} {v.note}"),
    field("first_foreseen", "fret 1: expected",
          lambda v: _span(v.first.foreseen, v.first.foreseen_band)),
    field("first_read", "read", lambda v: v.first.read, "mm"),
    field("first_wanted", "wanted", lambda v: v.first.wanted, "mm"),
    field("twelfth_foreseen", "fret 12: expected",
          lambda v: _span(v.twelfth.foreseen, v.twelfth.foreseen_band)),
    field("twelfth_read", "read", lambda v: v.twelfth.read, "mm"),
    field("twelfth_wanted", "wanted", lambda v: v.twelfth.wanted, "mm"),
    field("nut_take", "take off its slot", lambda v: _off(v.nut_take), "mm"),
    field("saddle_take", "take off the saddle", lambda v: _off(v.saddle_take), "mm"),
    field("first_after", "fret 1 then", lambda v: _span(v.first.after, v.first.after_band)),
    field("twelfth_after", "fret 12 then", lambda v: _span(v.twelfth.after, v.twelfth.after_band)),
)  # fmt: skip
READ = (
    "name", "first_foreseen", "first_read", "first_wanted", "twelfth_foreseen", "twelfth_read",
    "twelfth_wanted",
)  # fmt: skip
OFF = ("name", "nut_take", "saddle_take", "first_after", "twelfth_after")
THEN = ("name", "first_after", "twelfth_after")


def verdict_table(strings: Iterable[StringVerdict]) -> Table:
    """A row a string: expected, read and wanted, what comes off, what should be read after it."""
    return tabulate("verdicts", VERDICT, strings)


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
    field("width_after", "width then", lambda s: s.after.width, "mm"),
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
