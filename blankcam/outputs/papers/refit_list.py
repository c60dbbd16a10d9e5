"""A refit on paper: the table for the terminal, the bench list, the record for other programs."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import asdict, dataclass
from typing import Any, Literal

import numpy as np

from blankcam.cut import CutResult
from blankcam.inputs.readings_file import PartName
from blankcam.inputs.units import Units
from blankcam.outputs.figures import both
from blankcam.outputs.papers.refit_words import string_words
from blankcam.outputs.papers.set_numbers import dry_first
from blankcam.outputs.papers.setup_steps import setup_steps
from blankcam.outputs.render import markdown
from blankcam.outputs.render.markdown import plain
from blankcam.outputs.rows import Section
from blankcam.outputs.tables.refit import OFF, READ, THEN, floor_table, ridge_table, verdict_table
from blankcam.outputs.tables.report import program_records
from blankcam.parts.saddle import Saddle
from blankcam.parts.slot import Slot
from blankcam.refit.as_cut import PartsAsCut, Taken, end_heights
from blankcam.refit.verdict import StringVerdict

_TOP_SEEN = 0.02  # mm: less is not told
State = Literal["done", "cut", "mend", "string"]
"""Nothing but the finish is left; something is cut; nothing can be cut and something is too low;
the new strings lie in the slots as they are, and are to be strung and read."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RefitSheet:
    """All that the papers of one refit say."""

    job: str
    job_digest: str
    count: int
    """Which refit of this job it is, from 1."""
    on_instrument: Mapping[PartName, int]
    """The number of each part that the job makes: nut 1, saddle 2."""
    state: State
    strings: tuple[StringVerdict, ...]
    """From the bass side."""
    taken: Taken
    before: PartsAsCut
    after: PartsAsCut
    top_due: bool
    """Whether the nut's top is to come down when its floors are final."""
    scatter: str
    """Told where readings scatter more than they state; else empty."""
    cautions: tuple[str, ...]
    results: tuple[CutResult, ...]
    """What the machine cuts, a part each; none where nothing is milled."""
    notice: tuple[str, ...]

    @property
    def slots(self) -> tuple[tuple[Slot, ...], tuple[Slot, ...]]:
        """The nut's, before and after; none where no nut is made."""
        if self.before.nut is None or self.after.nut is None:
            return (), ()
        return self.before.nut.slots, self.after.nut.slots

    @property
    def saddles(self) -> tuple[Saddle, Saddle] | None:
        """The saddle before and after, where one is made."""
        if self.before.saddle is None or self.after.saddle is None:
            return None
        return self.before.saddle, self.after.saddle

    def has(self, fret: Literal["first", "twelfth"]) -> bool:
        """Whether a fret is worth a column: its part is made, or it was read all the same."""
        part: PartName = "nut" if fret == "first" else "saddle"
        return part in self.on_instrument or any(
            getattr(v, fret).read is not None for v in self.strings
        )


def sections(sheet: RefitSheet) -> tuple[Section, ...]:
    """What was expected and read, what each string wants, how the parts come down."""
    told = _told(sheet)
    return (
        Section(
            title=f"Refit {sheet.count} of {sheet.job}",
            table=verdict_table(sheet.strings).pick(*_columns(sheet, READ)),
            notes=(*summary(sheet), *(string_words(v) for v in sheet.strings)),
        ),
        *_cut_section(sheet),
        Section(title=_parts(sheet), notes=tuple(part_words(sheet))),
        *(Section(title="What to know", notes=told) for _ in told[:1]),
    )


def _parts(sheet: RefitSheet) -> str:
    return " and ".join(sheet.on_instrument).capitalize()


def _columns(sheet: RefitSheet, names: Iterable[str]) -> Iterator[str]:
    """Those of a table that say something: nothing of a fret nobody read, nor of a part
    not made.
    """
    unread = [fret for fret in ("first", "twelfth") if not sheet.has(fret)]
    other = [f"{p}_take" for p in ("nut", "saddle") if p not in sheet.on_instrument]
    return (n for n in names if n not in other and not n.startswith(tuple(unread)))


def _cut_section(sheet: RefitSheet) -> Iterator[Section]:
    if any(v.nut_take or v.saddle_take for v in sheet.strings):
        yield Section(
            title="What comes off", table=verdict_table(sheet.strings).pick(*_columns(sheet, OFF))
        )


def _told(sheet: RefitSheet) -> tuple[str, ...]:
    return tuple(t for t in (sheet.scatter, *sheet.cautions) if t)


def summary(sheet: RefitSheet) -> Iterator[str]:
    """How it stands, in a sentence."""
    if sheet.state == "done":
        yield "done: every string is where it should be, as far as it can be measured"
    elif sheet.state == "mend":
        yield "nothing to cut: first put right what is too low, as said below, then measure again"
    elif sheet.state == "string":
        yield "nothing to cut: no slot need be wider; string it up, let it settle, and read it"
    elif all(v.unread for v in sheet.strings):
        yield "first make the slots wider for the new strings; then string it up, and read it"
    else:
        done = sum(v.state == "done" for v in sheet.strings)
        yield f"{done} of {len(sheet.strings)} strings are done; cut what is listed below"


def part_words(sheet: RefitSheet) -> Iterator[str]:
    """How nut and saddle come down, for the hand too."""
    for number, width in _widened(sheet):
        yield f"slot {number}: widen it to {both(width)} mm"
    if sheet.taken.top:
        over = _top(sheet)
        yield f"nut: its floors are final, so its top comes down to them, once and last{over}"
    elif sheet.top_due:
        yield "nut: leave its top for now; it comes down once, last, when every floor is final"
    if sheet.saddles is not None:
        yield _saddle_words(sheet, *sheet.saddles)
    if sheet.state == "done":
        then = "bring the top down, then polish" if sheet.taken.top else "polish"
        glue = ", and glue the nut with one drop of glue at its front edge"
        what = "both parts" if len(sheet.on_instrument) > 1 else f"the {_parts(sheet).lower()}"
        yield f"next: {then} {what}{glue if 'nut' in sheet.on_instrument else ''}"


def _top(sheet: RefitSheet) -> str:
    """How much higher than designed a nut's top stays where its floors do, where that is seen."""
    before, after = sheet.before.nut, sheet.after.nut
    if before is None or after is None:
        return ""
    centres = np.array([s.centre for s in after.slots])
    over = float(np.max(after.top.height(centres) - before.top.height(centres)))
    if over < _TOP_SEEN:
        return ""
    return f"; it stays up to {over:.2f} mm higher than designed, as the floors do"


def _widened(sheet: RefitSheet) -> Iterator[tuple[int, float]]:
    """Slots that other strings ask to be wider: their string's number, and the width."""
    strings = sheet.strings if sheet.slots[0] else ()
    for v, before, after in zip(strings, *sheet.slots, strict=True):
        if after.width > before.width:
            yield v.number, after.width


def _saddle_words(sheet: RefitSheet, before: Saddle, after: Saddle) -> str:
    taken, ends = sheet.taken, _ends(before, after)
    if taken.trim == "bottom":
        return (
            f"saddle: take {both(taken.bottom_left)} off its underside at the left end and"
            f" {both(taken.bottom_right)} at the right end, straight from end to end; {ends}"
        )
    if taken.trim == "crown":
        return f"saddle: no straight trim suits all strings, so its top is cut anew; {ends}"
    return "saddle: leave it"


def _ends(before: Saddle, after: Saddle) -> str:
    was, now = end_heights(before), end_heights(after)
    return (
        f"measured half a thickness in from each end, its whole height goes from {was[0]:.2f} to"
        f" {now[0]:.2f} mm on the left and from {was[1]:.2f} to {now[1]:.2f} mm on the right"
    )


def record(sheet: RefitSheet) -> dict[str, Any]:
    """The refit for other programs; mm."""
    return {
        "job": sheet.job,
        "job_digest": sheet.job_digest,
        "refit": sheet.count,
        "state": sheet.state,
        "on_instrument": dict(sheet.on_instrument),
        "cautions": list(_told(sheet)),
        "strings": [_string_record(v) for v in sheet.strings],
        **_nut_record(sheet),
        **_saddle_record(sheet),
        "programs": [r for result in sheet.results for r in program_records(result)],
    }


def _nut_record(sheet: RefitSheet) -> dict[str, Any]:
    """Of the nut; nothing where none is made."""
    if not sheet.slots[0]:
        return {}
    keys = ("string", "note", "floor_before", "floor_after", "depth_after", "width_after")
    floors = floor_table(*sheet.slots).pick(*keys).records()
    return {"nut": floors, "nut_top": sheet.taken.top}


def _saddle_record(sheet: RefitSheet) -> dict[str, Any]:
    """Of the saddle; nothing where none is made."""
    if sheet.saddles is None:
        return {}
    taken, (before, after) = sheet.taken, sheet.saddles
    return {
        "saddle": {
            "by": taken.trim,
            "bottom_left": taken.bottom_left,
            "bottom_right": taken.bottom_right,
            "ends_before": end_heights(before),
            "ends_after": end_heights(after),
            "heights": [
                {"string": v.number, "note": s.note, "height": s.height}
                for v, s in zip(sheet.strings, after.strings, strict=True)
            ],
        }
    }


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


def bench(sheet: RefitSheet, units: Units = "both") -> str:
    """The work in order, as Markdown."""
    head = [f"# Refit {sheet.count}: {plain(sheet.job)}", ""]
    head += [f"> {line}  " for line in sheet.notice]
    head += [
        "",
        f"Job digest {sheet.job_digest}. Lengths in mm (in).{_drawn(sheet)}",
        "",
        *summary(sheet),
        "",
        *_dry(sheet),
    ]
    return "\n".join(
        [*head, "\n\n".join(markdown.render(part, units=units) for part in _work(sheet)), ""]
    )


def _drawn(sheet: RefitSheet) -> str:
    return "" if sheet.taken.nothing else " Each part before and after is drawn in `sheet.pdf`."


def _work(sheet: RefitSheet) -> Iterator[Section]:
    """The bench list's sections; their words are Markdown."""
    if told := _told(sheet):
        yield Section(title="First", notes=(_list(plain(c) for c in told),))
    yield Section(title="Strings", notes=(_list(map(string_words, sheet.strings)),))
    yield from _nut(sheet)
    yield Section(title=_parts(sheet), notes=(_list(part_words(sheet)),))
    if sheet.saddles is not None and sheet.taken.trim == "crown":
        yield _ridge(*sheet.saddles)
    yield from (_on_the_machine(result) for result in sheet.results if result.files)
    if sheet.state != "done":
        yield _then(sheet)


def _list(lines: Iterable[str]) -> str:
    return "\n".join(f"- {line}" for line in lines)


def _nut(sheet: RefitSheet) -> Iterator[Section]:
    """The floors, where the nut is cut; depths only under a top that is finished."""
    if not sheet.taken.nut_cut or sheet.after.nut is None:
        return
    floors = floor_table(*sheet.slots)
    depth = () if sheet.after.nut.allowance else ("depth_after",)
    yield Section(
        title="The slots of the nut",
        table=floors.pick("name", "floor_before", "floor_after", "off", *depth),
        notes=("Floors over the seat, depths under the top, at the nut's front edge.",),
    )


def _ridge(before: Saddle, after: Saddle) -> Section:
    return Section(
        title="",
        table=ridge_table(before, after),
        notes=(
            (
                "Heights over its underside. By hand: file the ridge down, then round it as it was "
                "before."
            ),
        ),
    )


def _dry(sheet: RefitSheet) -> Iterator[str]:
    """How each program is run dry; nothing where no program was written."""
    if programs := [f.program for result in sheet.results for f in result.programs]:
        yield from (dry_first(programs, sheet.results[0].request.machine), "")


def _on_the_machine(result: CutResult) -> Section:
    """Hold, zero, fit and run; each program was proven against the part as it stands."""
    steps = (f"{i}. {step}" for i, step in enumerate(setup_steps(result, result.files), start=1))
    title = f"{result.request.part.name.capitalize()} on the machine"
    return Section(title=title, notes=("\n".join(steps),))


def _then(sheet: RefitSheet) -> Section:
    return Section(
        title="Then",
        table=verdict_table(sheet.strings).pick(*_columns(sheet, THEN)),
        notes=(
            (
                "String it, tune it, let it settle, and read it again: it should lie within"
                " the table's bands, in mm. If you do not cut this refit, write"
                f' `last_refit = "not cut"` in the next readings{_one_left(sheet)}.'
            ),
        ),
    )


def _one_left(sheet: RefitSheet) -> str:
    """What to write where only one of two parts is not cut."""
    if len(sheet.on_instrument) < 2:
        return ""
    return '; if only one part is left uncut, `"nut not cut"` or `"saddle not cut"`'
