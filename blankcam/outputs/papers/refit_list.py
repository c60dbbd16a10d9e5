"""A refit on paper: for the terminal, the bench list, the record for other programs."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from blankcam.outputs.figures import both
from blankcam.outputs.render import markdown
from blankcam.outputs.render.markdown import plain
from blankcam.outputs.rows import Section
from blankcam.outputs.tables.refit import floor_table, need_table, ridge_table
from blankcam.parts.saddle import Saddle
from blankcam.refit.as_cut import Standing, end_heights
from blankcam.refit.needs import Refit

NEEDS = (
    "name", "nut_need", "nut_take", "saddle_need", "saddle_take", "first_fret_after", "action_after",
)  # fmt: skip
NEED_RECORD = (
    "string", "note", "nut_need", "nut_take", "saddle_need", "saddle_take", "nut_short",
    "saddle_short", "first_fret_after", "action_after",
)  # fmt: skip


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
    needs = Section(
        title=f"Refit {sheet.count} of {sheet.job}",
        table=need_table(done.strings).pick(*NEEDS),
        notes=(
            f"clearances then: what you will read, within {done.band:.2f} mm",
            *saddle_words(sheet),
        ),
    )
    cautions = (*done.words, *sheet.cautions)
    return (needs, Section(title="What to know", notes=cautions)) if cautions else (needs,)


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
            f" {both(done.bottom_right, 3)} at the right end, straight from end to end; {_ends(sheet)}"
        )
    elif done.saddle_by == "crown":
        yield f"saddle: no straight trim suits all strings, so its top is cut anew; {_ends(sheet)}"
    else:
        yield "saddle: leave it"


def _ends(sheet: RefitSheet) -> str:
    was, now = (end_heights(s.saddle) for s in (sheet.before, sheet.after))
    return (
        f"measured half a thickness in from each end, its whole height goes from {was[0]:.2f} to"
        f" {now[0]:.2f} mm on the left and from {was[1]:.2f} to {now[1]:.2f} mm on the right"
    )


def record(sheet: RefitSheet) -> dict[str, Any]:
    """The refit for other programs; mm."""
    done = sheet.done
    floors = floor_table(sheet.before.nut.slots, sheet.after.nut.slots)
    return {
        "job": sheet.job,
        "job_digest": sheet.job_digest,
        "refit": sheet.count,
        "cautions": [*done.words, *sheet.cautions],
        "band": done.band,
        "strings": need_table(done.strings).pick(*NEED_RECORD).records(),
        "nut": floors.pick(
            "string", "note", "floor_before", "floor_after", "depth_after"
        ).records(),
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


def _heights(saddle: Saddle) -> list[dict[str, Any]]:
    return [{"string": s.string, "note": s.note, "height": s.height} for s in saddle.strings]


def bench(sheet: RefitSheet) -> str:
    """The work in order, as Markdown."""
    head = [f"# Refit {sheet.count}: {plain(sheet.job)}", ""]
    head += [f"> {line}  " for line in sheet.notice]
    head += ["", f"Job digest {sheet.job_digest}. Lengths in mm (in).", ""]
    return "\n".join([*head, "\n\n".join(map(markdown.render, _work(sheet))), ""])


def _work(sheet: RefitSheet) -> Iterator[Section]:
    """The bench list's sections; their words are Markdown."""
    if cautions := (*sheet.done.words, *sheet.cautions):
        yield Section(title="First", notes=(_list(plain(c) for c in cautions),))
    floors = floor_table(sheet.before.nut.slots, sheet.after.nut.slots)
    yield Section(
        title="Nut",
        table=floors.pick("name", "floor_before", "floor_after", "off", "depth_after"),
        notes=(
            (
                "Floors over the seat and depths under the top, at the nut's front edge. Cut the floors"
                " first, the top last."
            ),
        ),
    )
    yield Section(title="Saddle", notes=(_list(_saddle(sheet)),))
    if sheet.done.saddle_by == "crown":
        yield _ridge(sheet)
    yield Section(title="Programs", notes=(_list(_programs(sheet)),))
    yield _then(sheet)


def _list(lines: Iterable[str]) -> str:
    return "\n".join(f"- {line}" for line in lines)


def _saddle(sheet: RefitSheet) -> Iterator[str]:
    yield from saddle_words(sheet)
    if sheet.done.saddle_by == "bottom":
        yield (
            "by the machine: turn the saddle over about its length, its crown down in soft jaws, its"
            " left end still on the left; level its underside and set zero as the program says"
        )


def _ridge(sheet: RefitSheet) -> Section:
    return Section(
        title="",
        table=ridge_table(sheet.before.saddle, sheet.after.saddle),
        notes=(
            "Heights over its underside. By hand: file the ridge down, then round it as it was.",
        ),
    )


def _programs(sheet: RefitSheet) -> Iterator[str]:
    for p in sheet.programs:
        minutes = p["seconds"] / 60
        yield f"`{p['file']}`: proven against the part as it stands, about {minutes:.0f} min"
    if not sheet.programs:
        yield "none: this refit is by hand"


def _then(sheet: RefitSheet) -> Section:
    return Section(
        title="Then",
        table=need_table(sheet.done.strings).pick("name", "first_fret_after", "action_after"),
        notes=(
            (
                "String it, tune it, let it settle, and read both clearances again: they should be as in"
                f" the table, within {sheet.done.band:.2f} mm. If this refit is not cut, write"
                ' `last_refit = "not cut"` in the next readings.'
            ),
        ),
    )
