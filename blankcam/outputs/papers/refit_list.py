"""A refit on paper: the table for the terminal, the bench list, the record for other programs."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from blankcam.outputs.render.markdown import plain
from blankcam.outputs.tables.layout import Section, both
from blankcam.outputs.tables.report import rounded
from blankcam.parts.nut import Slot
from blankcam.parts.saddle import Saddle
from blankcam.refit.as_cut import Standing, end_heights
from blankcam.refit.needs import Refit


@dataclass(frozen=True, slots=True, kw_only=True)
class RefitSheet:
    """All that the papers of one refit say."""

    job: str
    job_digest: str
    count: int
    """Which refit of this job it is, from 1."""
    done: Refit
    before: Standing
    after: Standing
    cautions: tuple[str, ...]
    programs: tuple[Mapping[str, Any], ...]
    """Records as in report.json."""
    notice: tuple[str, ...]


def sections(sheet: RefitSheet) -> tuple[Section, ...]:
    """What to take off, what will be read then, how the saddle comes down."""
    done = sheet.done
    rows = tuple(
        (
            f"{s.number} {s.note}",
            f"{s.nut_need:+z.3f}",
            both(s.nut_take, 3),
            f"{s.saddle_need:+z.3f}",
            both(s.saddle_take, 3),
            f"{s.first_fret_after:.3f}",
            f"{s.action_after:.3f}",
        )
        for s in done.strings
    )
    heads = (
        "string", "nut stands over, mm", "take off its slot", "saddle stands over, mm",
        "take off the saddle", "fret 1 then, mm", "fret 12 then, mm",
    )  # fmt: skip
    return (
        Section(
            title=f"Refit {sheet.count} of {sheet.job}",
            columns=heads,
            rows=rows,
            notes=(f"clearances then: as told within {done.band:.2f} mm", *saddle_words(sheet)),
        ),
        *(
            Section(title="What to know", notes=told)
            for told in [(*done.words, *sheet.cautions)]
            if told
        ),
    )


def saddle_words(sheet: RefitSheet) -> Iterator[str]:
    """How the saddle comes down, for the hand too."""
    done = sheet.done
    if done.nothing and any(c.nut_short or c.saddle_short for c in done.strings):
        yield "nothing to take off: fix what is too low first, as told below, then read again"
    elif done.nothing:
        yield "nothing to take off: the readings meet the targets, as far as they can be trusted"
    if done.saddle_by == "bottom":
        yield (
            f"saddle: take {both(done.bottom_left, 3)} off its underside at the left end and"
            f" {both(done.bottom_right, 3)} at the right, in a straight line; {_ends(sheet)}"
        )
    elif done.saddle_by == "crown":
        yield f"saddle: no straight trim fits all strings, so its top is cut anew; {_ends(sheet)}"
    else:
        yield "saddle: leave it"


def _ends(sheet: RefitSheet) -> str:
    was, now = (end_heights(s.saddle) for s in (sheet.before, sheet.after))
    return (
        f"over all, half a thickness in from the ends: {was[0]:.2f} to {now[0]:.2f} mm on the left,"
        f" {was[1]:.2f} to {now[1]:.2f} mm on the right"
    )


def record(sheet: RefitSheet) -> dict[str, Any]:
    """The refit for other programs; mm."""
    done = sheet.done
    content = {
        "job": sheet.job,
        "job_digest": sheet.job_digest,
        "refit": sheet.count,
        "cautions": [*done.words, *sheet.cautions],
        "band": done.band,
        "strings": [
            {
                "string": s.number,
                "note": s.note,
                "nut_need": s.nut_need,
                "nut_take": s.nut_take,
                "saddle_need": s.saddle_need,
                "saddle_take": s.saddle_take,
                "nut_short": s.nut_short,
                "saddle_short": s.saddle_short,
                "first_fret_after": s.first_fret_after,
                "action_after": s.action_after,
            }
            for s in done.strings
        ],
        "nut": [_floor(b, a) for b, a in _slots(sheet)],
        "saddle": {
            "by": done.saddle_by,
            "bottom_left": done.bottom_left,
            "bottom_right": done.bottom_right,
            "ends_before": end_heights(sheet.before.saddle),
            "ends_after": end_heights(sheet.after.saddle),
            "heights": _heights(sheet.after.saddle),
        },
        "programs": list(sheet.programs),
    }
    return {key: rounded(value) for key, value in content.items()}


def _slots(sheet: RefitSheet) -> Sequence[tuple[Slot, Slot]]:
    return tuple(zip(sheet.before.nut.slots, sheet.after.nut.slots, strict=True))


def _floor(before: Slot, after: Slot) -> dict[str, Any]:
    return {
        "string": after.string,
        "note": after.note,
        "floor_before": before.floor_front,
        "floor_after": after.floor_front,
        "depth_after": after.depth_front,
    }


def _heights(saddle: Saddle) -> list[dict[str, Any]]:
    return [{"string": s.string, "note": s.note, "height": s.height} for s in saddle.strings]


def bench(sheet: RefitSheet) -> str:
    """The work in order, as Markdown."""
    lines = [f"# Refit {sheet.count}: {plain(sheet.job)}", ""]
    lines += [f"> {line}  " for line in sheet.notice]
    lines += ["", f"Job digest {sheet.job_digest}. Millimetres (inches).", ""]
    lines += [*_cautions(sheet), *_nut_list(sheet), "", "## Saddle", ""]
    lines += [f"- {words}" for words in saddle_words(sheet)]
    lines += _ridge_list(sheet)
    if sheet.done.saddle_by == "bottom":
        lines.append(
            "- by the machine: turn it over about its long axis, the crown down in soft jaws, its"
            " left end still on the left; level its underside and set zero as the program says"
        )
    lines += ["", "## Programs", ""]
    lines += [
        f"- `{p['file']}`: proven against the part as it stands, about {p['seconds'] / 60:.0f} min"
        for p in sheet.programs
    ] or ["- none: this refit is by hand"]
    lines += ["", "## Then", "", *_then(sheet), ""]
    return "\n".join(lines)


def _cautions(sheet: RefitSheet) -> list[str]:
    told = [*sheet.done.words, *sheet.cautions]
    return ["## First", "", *(f"- {plain(c)}" for c in told), ""] if told else []


def _nut_list(sheet: RefitSheet) -> Iterator[str]:
    yield from ("## Nut", "")
    yield "| string | floor now | floor then | off | depth under the top then |"
    yield "|---|---|---|---|---|"
    for before, after in _slots(sheet):
        off = before.floor_front - after.floor_front
        yield (
            f"| {after.string} {plain(after.note)} | {before.floor_front:.3f} |"
            f" {after.floor_front:.3f} | {both(off, 3)} | {after.depth_front:.3f} |"
        )
    yield ""
    yield "Heights over the floor of the seat at the witness edge. Floors first, the top last."


def _ridge_list(sheet: RefitSheet) -> Iterator[str]:
    """Where the top is cut anew: the ridge at each string, for the hand too."""
    if sheet.done.saddle_by != "crown":
        return
    before, after = sheet.before.saddle, sheet.after.saddle
    yield from (
        "",
        "| string | from the left end | ridge now | ridge then | off |",
        "|---|---|---|---|---|",
    )
    for seat in after.strings:
        x = np.array(seat.centre)
        now, then = (float(s.top.height(x)) for s in (before, after))
        yield (
            f"| {seat.string} {plain(seat.note)} | {both(seat.centre)} | {now:.3f} | {then:.3f} |"
            f" {both(now - then, 3)} |"
        )
    yield ""
    yield "Heights over its underside. By hand: file the ridge down, then round it as it was."


def _then(sheet: RefitSheet) -> Iterator[str]:
    yield "String it, tune it, let it settle, and read both clearances again:"
    yield ""
    yield "| string | fret 1 | fret 12 |"
    yield "|---|---|---|"
    for s in sheet.done.strings:
        yield f"| {s.number} {plain(s.note)} | {s.first_fret_after:.2f} | {s.action_after:.2f} |"
    yield ""
    yield f"Within {sheet.done.band:.2f} mm. If this refit is not cut, say"
    yield '`last_refit = "not cut"` in the next readings.'
