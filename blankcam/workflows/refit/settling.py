"""From what is believed to what is taken off, by whom, and the proven programs for it."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator

from blankcam.refit import as_cut
from blankcam.refit.as_cut import PartsAsCut, Taken
from blankcam.refit.book import Refitted
from blankcam.refit.cut_choice import Choice, no_cut
from blankcam.refit.numbers import by_number, number_at
from blankcam.refit.scatter import Belief
from blankcam.refit.so_far import SoFar, cutting_of
from blankcam.refit.spreads import Cutting
from blankcam.refit.verdict import choose_from
from blankcam.workflows.refit.inputs import RefitInputs, aims_of
from blankcam.workflows.refit.pieces import Cuts, cut_pieces, pieces


def settled(
    given: RefitInputs, known: SoFar, now: Belief
) -> tuple[Choice, Taken, PartsAsCut, Cuts]:
    """What to take off and its programs.

    Who cuts a slot is known only when it is planned, and how far off a cut may be is known only by
    who cuts: where a slot planned for the mill falls to the file, all is chosen once more.
    """
    stands = as_cut.with_strings(given.found, known.standing)
    mills = given.profile.cuts_programs
    slots = range(given.count, 0, -1) if mills and given.found.job.plan.slots == "mill" else ()
    cutting = cutting_of(tuple(slots), mills, given.count)
    for _ in range(2):
        choice = choose_from(now, aims_of(given, cutting), given.readings.uncertainty)
        choice = choice if given.readings.any_read else no_cut(choice)
        taken = _taken(given, stands, choice)
        after = as_cut.after(given.found, stands, taken)
        if not taken.nothing:
            as_cut.stop_unfit(given.found, after)
        asked = tuple(pieces(stands, after, taken))
        cuts = Cuts()
        if mills:
            cuts = cut_pieces(given.found.job, given.readings.digest, given.profile, asked)
        by = _cut_by(cutting, taken, cuts, given.count)
        if (by.by, by.saddle_by) == (cutting.by, cutting.saddle_by):
            break
        cutting = by
    return choice, taken, after, cuts


def _cut_by(assumed: Cutting, taken: Taken, cuts: Cuts, count: int) -> Cutting:
    """Who really cuts: as assumed where nothing is cut."""
    real = cutting_of(cuts.milled, cuts.saddle_milled, count)
    slots = any(taken.nut) or bool(taken.widths)
    numbers = [number_at(i, count) for i in range(count)]
    by = real.by if slots else assumed.by
    milled = tuple(n for n, b in zip(numbers, by, strict=True) if b == "mill")
    saddle = real.saddle_by if taken.trim != "nothing" else assumed.saddle_by
    return cutting_of(milled, saddle == "mill", count)


def _taken(given: RefitInputs, stands: PartsAsCut, choice: Choice) -> Taken:
    """What is taken off; the nut's top only when its floors are final and none is too low."""
    taken = Taken(
        nut=tuple(float(v) for v in choice.nut),
        saddle=tuple(float(v) for v in choice.saddle),
        trim=choice.trim,
        bottom_left=choice.ends[0],
        bottom_right=choice.ends[1],
        widths=as_cut.widths_lacking(given.found, stands.nut),
    )
    due = choice.done and not taken.widths and as_cut.top_is_due(given.found, stands.nut)
    return dataclasses.replace(taken, top=due)


def refit_entries(known: SoFar, taken: Taken, cuts: Cuts) -> Iterator[Refitted]:
    """The refit as an entry of the book, where anything is cut."""
    if not taken.nothing:
        yield Refitted(
            number=known.refits + 1,
            nut=by_number(taken.nut),
            saddle=by_number(taken.saddle),
            trim=taken.trim,
            bottom_left=taken.bottom_left,
            bottom_right=taken.bottom_right,
            top=taken.top,
            widths=by_number(taken.widths),
            milled=cuts.milled,
            saddle_milled=cuts.saddle_milled,
        )
