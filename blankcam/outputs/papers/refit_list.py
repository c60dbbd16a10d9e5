"""A refit on paper: the table for the terminal, the bench list, the record for other programs."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any, Literal

import numpy as np

from blankcam.outputs.papers.refit_words import string_words
from blankcam.outputs.render.markdown import plain
from blankcam.outputs.tables.layout import Section, both
from blankcam.outputs.tables.report import rounded
from blankcam.parts.nut import Slot
from blankcam.refit.as_cut import Standing, Taken, end_heights
from blankcam.refit.numbers import number_at
from blankcam.refit.verdict import StringVerdict

State = Literal["done", "cut", "mend"]
"""Nothing but the finish is left; something is cut; nothing can be cut and something is too low."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RefitSheet:
    """All that the papers of one refit say."""

    job: str
    job_digest: str
    count: int
    """Which refit of this job it is, from 1."""
    nut_number: int
    saddle_number: int
    state: State
    strings: tuple[StringVerdict, ...]
    """From the bass side."""
    taken: Taken
    before: Standing
    after: Standing
    top_due: bool
    """Whether the nut's top is to come down when its floors are final."""
    scatter: str
    """Told where readings scatter more than they state; else empty."""
    cautions: tuple[str, ...]
    programs: tuple[Mapping[str, Any], ...]
    """Records as in report.json."""
    notice: tuple[str, ...]


def sections(sheet: RefitSheet) -> tuple[Section, ...]:
    """What was foreseen and read, what each string wants, how the parts come down."""
    told = tuple(t for t in (sheet.scatter, *sheet.cautions) if t)
    return (
        Section(
            title=f"Refit {sheet.count} of {sheet.job}",
            columns=_READ_HEADS,
            rows=tuple(_read_row(v) for v in sheet.strings),
            notes=(*summary(sheet), *(string_words(v) for v in sheet.strings)),
        ),
        *_cut_section(sheet),
        Section(title="Nut and saddle", notes=tuple(part_words(sheet))),
        *(Section(title="What to know", notes=told) for _ in told[:1]),
    )


_READ_HEADS = (
    "string", "foreseen at fret 1", "read", "wanted", "foreseen at fret 12", "read", "wanted",
)  # fmt: skip
_CUT_HEADS = ("string", "off its slot", "off the saddle", "then at fret 1", "then at fret 12")


def _read_row(v: StringVerdict) -> tuple[str, ...]:
    cells = [f"{v.number} {v.note}"]
    for fret in (v.first, v.twelfth):
        foreseen = f"{fret.foreseen:.2f} ± {fret.foreseen_band:.2f}"
        cells += [foreseen, _read(fret.read), f"{fret.wanted:.2f}"]
    return tuple(cells)


def _cut_section(sheet: RefitSheet) -> Iterator[Section]:
    """What comes off where, and what will be read then, mm (inches)."""
    if any(v.nut_take or v.saddle_take for v in sheet.strings):
        rows = tuple(
            (f"{v.number} {v.note}", _off(v.nut_take), _off(v.saddle_take), *_then_cells(v))
            for v in sheet.strings
        )
        yield Section(title="What comes off", columns=_CUT_HEADS, rows=rows)


def _then_cells(v: StringVerdict) -> tuple[str, str]:
    one, twelve = v.first, v.twelfth
    return (
        f"{one.after:.2f} ± {one.after_band:.2f}",
        f"{twelve.after:.2f} ± {twelve.after_band:.2f}",
    )


def _read(mm: float | None) -> str:
    return "-" if mm is None else f"{mm:.2f}"


def _off(mm: float) -> str:
    return both(mm) if mm else "-"


def summary(sheet: RefitSheet) -> Iterator[str]:
    """How it stands, in a sentence."""
    if sheet.state == "done":
        yield "done: every string is where it should be, as far as it can be measured"
    elif sheet.state == "mend":
        yield "nothing to cut: mend what is too low first, as told below, then read again"
    else:
        done = sum(v.state == "done" for v in sheet.strings)
        yield f"{done} of {len(sheet.strings)} strings are done; cut what is told below"


def part_words(sheet: RefitSheet) -> Iterator[str]:
    """How nut and saddle come down, for the hand too."""
    if sheet.taken.widths:
        for before, after in _slots(sheet):
            if after.width > before.width:
                yield f"slot {_name(sheet, after)}: widen it to {both(after.width)}"
    if sheet.taken.top:
        yield "nut: its floors are final, so its top comes down to them, once and last"
    elif sheet.top_due:
        yield "nut: leave its top; it comes down once, last, when every floor is final"
    yield _saddle_words(sheet)
    if sheet.state == "done":
        then = "bring the top down, then polish" if sheet.taken.top else "polish"
        yield f"next: {then} both parts, and glue the nut with a drop at its front edge"


def _name(sheet: RefitSheet, slot: Slot) -> str:
    place = [s.centre for s in sheet.after.nut.slots].index(slot.centre)
    return f"{number_at(place, len(sheet.after.nut.slots))} ({plain(slot.note)})"


def _saddle_words(sheet: RefitSheet) -> str:
    taken = sheet.taken
    if taken.trim == "bottom":
        return (
            f"saddle: take {both(taken.bottom_left)} off its underside at the left end and"
            f" {both(taken.bottom_right)} at the right, in a straight line; {_ends(sheet)}"
        )
    if taken.trim == "crown":
        return f"saddle: no straight trim fits all strings, so its top is cut anew; {_ends(sheet)}"
    return "saddle: leave it"


def _ends(sheet: RefitSheet) -> str:
    was, now = (end_heights(s.saddle) for s in (sheet.before, sheet.after))
    return (
        f"over all, half a thickness in from the ends: {was[0]:.2f} to {now[0]:.2f} mm on the left,"
        f" {was[1]:.2f} to {now[1]:.2f} mm on the right"
    )


def record(sheet: RefitSheet) -> dict[str, Any]:
    """The refit for other programs; mm."""
    taken = sheet.taken
    content = {
        "job": sheet.job,
        "job_digest": sheet.job_digest,
        "refit": sheet.count,
        "state": sheet.state,
        "on_instrument": {"nut": sheet.nut_number, "saddle": sheet.saddle_number},
        "cautions": [t for t in (sheet.scatter, *sheet.cautions) if t],
        "strings": [_string_record(v) for v in sheet.strings],
        "nut": {
            "top": taken.top,
            "slots": [_floor(sheet, b, a) for b, a in _slots(sheet)],
        },
        "saddle": {
            "by": taken.trim,
            "bottom_left": taken.bottom_left,
            "bottom_right": taken.bottom_right,
            "ends_before": end_heights(sheet.before.saddle),
            "ends_after": end_heights(sheet.after.saddle),
            "heights": _heights(sheet),
        },
        "programs": list(sheet.programs),
    }
    return {key: rounded(value) for key, value in content.items()}


def _string_record(v: StringVerdict) -> dict[str, Any]:
    return {
        "string": v.number,
        "note": v.note,
        "verdict": v.state,
        "words": string_words(v),
        "nut_over": v.nut_over,
        "saddle_over": v.saddle_over,
        "nut_take": v.nut_take,
        "saddle_take": v.saddle_take,
        "by": v.by,
        "first_fret": asdict(v.first),
        "action": asdict(v.twelfth),
    }


def _slots(sheet: RefitSheet) -> Sequence[tuple[Slot, Slot]]:
    return tuple(zip(sheet.before.nut.slots, sheet.after.nut.slots, strict=True))


def _floor(sheet: RefitSheet, before: Slot, after: Slot) -> dict[str, Any]:
    place = sheet.after.nut.slots.index(after)
    return {
        "string": number_at(place, len(sheet.after.nut.slots)),
        "note": after.note,
        "floor_before": before.floor_front,
        "floor_after": after.floor_front,
        "depth_after": after.depth_front,
        "width_after": after.width,
    }


def _heights(sheet: RefitSheet) -> list[dict[str, Any]]:
    return [
        {"string": v.number, "note": s.note, "height": s.height}
        for v, s in zip(sheet.strings, sheet.after.saddle.strings, strict=True)
    ]


def bench(sheet: RefitSheet) -> str:
    """The work in order, as Markdown."""
    lines = [f"# Refit {sheet.count}: {plain(sheet.job)}", ""]
    lines += [f"> {line}  " for line in sheet.notice]
    lines += ["", f"Job digest {sheet.job_digest}. Millimetres (inches).", ""]
    lines += [*summary(sheet), "", *_cautions(sheet), "## Strings", ""]
    lines += [f"- {plain(string_words(v))}" for v in sheet.strings]
    lines += ["", *_nut_list(sheet), "", "## Saddle and nut", ""]
    lines += [f"- {plain(words)}" for words in part_words(sheet)]
    lines += [*_ridge_list(sheet), *_programs(sheet)]
    if sheet.state != "done":
        lines += ["", "## Then", "", *_then(sheet)]
    return "\n".join([*lines, ""])


def _cautions(sheet: RefitSheet) -> list[str]:
    told = [t for t in (sheet.scatter, *sheet.cautions) if t]
    return ["## First", "", *(f"- {plain(c)}" for c in told), ""] if told else []


def _programs(sheet: RefitSheet) -> Iterator[str]:
    """What the machine cuts; a bench without one is told nothing of machines."""
    if not sheet.programs:
        return
    yield from ("", "## Programs", "")
    for p in sheet.programs:
        minutes = f"about {p['seconds'] / 60:.0f} min"
        yield f"- `{p['file']}`: proven against the part as it stands, {minutes}"
    if any(p["file"].startswith("saddle-bottom") for p in sheet.programs):
        yield (
            "- for the underside: turn the saddle over about its long axis, the crown down in soft"
            " jaws, its left end still on the left; level its underside and set zero as the program"
            " says"
        )


def _nut_list(sheet: RefitSheet) -> Iterator[str]:
    if not sheet.taken.nut_cut:
        return
    depth = not sheet.after.nut.allowance
    yield from ("## Nut", "")
    yield "| string | floor now | floor then | off |" + (" depth then |" if depth else "")
    yield "|---|---|---|---|" + ("---|" if depth else "")
    for before, after in _slots(sheet):
        off = before.floor_front - after.floor_front
        row = f"| {_name(sheet, after)} | {before.floor_front:.2f} | {after.floor_front:.2f} |"
        yield f"{row} {_off(off)} |" + (f" {after.depth_front:.2f} |" if depth else "")
    yield ""
    yield "Heights over the floor of the seat at the front edge; depths under the nut's top."


def _ridge_list(sheet: RefitSheet) -> Iterator[str]:
    """Where the top is cut anew: the ridge at each string, for the hand too."""
    if sheet.taken.trim != "crown":
        return
    before, after = sheet.before.saddle, sheet.after.saddle
    yield from (
        "",
        "| string | from the left end | ridge now | ridge then | off |",
        "|---|---|---|---|---|",
    )
    for v, seat in zip(sheet.strings, after.strings, strict=True):
        x = np.array(seat.centre)
        now, then = (float(s.top.height(x)) for s in (before, after))
        yield (
            f"| {v.number} {plain(seat.note)} | {both(seat.centre)} | {now:.2f} | {then:.2f} |"
            f" {both(now - then)} |"
        )
    yield ""
    yield "Heights over its underside. By hand: file the ridge down, then round it as it was."


def _then(sheet: RefitSheet) -> Iterator[str]:
    yield "String it, tune it, let it settle, and read both clearances again. Foreseen:"
    yield ""
    yield "| string | fret 1 | fret 12 |"
    yield "|---|---|---|"
    for v in sheet.strings:
        yield f"| {v.number} {plain(v.note)} | {' | '.join(_then_cells(v))} |"
    yield ""
    yield 'If this refit is not cut, say `last_refit = "not cut"` in the next readings.'
