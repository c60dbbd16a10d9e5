"""All that the papers of a refit say, drawn from a refit worked out."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from blankcam.inputs import readings_file
from blankcam.outputs.papers import refit_words
from blankcam.outputs.papers.refit_list import RefitSheet, State
from blankcam.refit import as_cut
from blankcam.refit.numbers import number_at
from blankcam.refit.scatter import Belief, belief
from blankcam.refit.so_far import SoFar, cutting_of
from blankcam.refit.spreads import By
from blankcam.refit.verdict import Aims, FretVerdict, StringVerdict, foreseen
from blankcam.workflows.refit.inputs import RefitInputs, aims_of
from blankcam.workflows.refit.work_out import Worked


def sheet_of(given: RefitInputs, worked: Worked) -> RefitSheet:
    """All that the papers say."""
    from blankcam import safety

    job, known = given.found.job, worked.known
    cuts, slots = worked.cuts, any(worked.taken.nut) or worked.taken.widths
    strings = tuple(_verdicts(given, worked))
    outside = () if given.readings.twice else tuple(refit_words.outside_words(strings))
    by_hand = (*cuts.by_hand, *(cuts.left_to_the_file if slots else ()))
    told = (*outside, *_cautions(given, known), *by_hand)
    of_parts = as_cut.cautions(worked.after)
    cautions = (*told, *of_parts, *(c for r in cuts.results for c in r.cautions))
    return RefitSheet(
        job=job.instrument.name,
        job_digest=job.digest,
        count=known.refits + 1,
        on_instrument=known.numbers,
        state=_state(given, worked),
        strings=strings,
        taken=worked.taken,
        before=known.standing,
        after=worked.after,
        top_due=as_cut.top_is_due(given.found, worked.after.nut),
        scatter=_scatter(given, worked.now),
        cautions=tuple(dict.fromkeys(cautions)),
        results=worked.cuts.results,
        notice=safety.notice(job.blanks.material, str(given.profile.kind)),
    )


def _state(given: RefitInputs, worked: Worked) -> State:
    if not given.readings.any_read and worked.taken.nothing:
        return "string"
    if worked.choice.done and not worked.taken.widths:
        return "done"
    return "mend" if worked.taken.nothing else "cut"


def _scatter(given: RefitInputs, now: Belief) -> str:
    if not now.understated:
        return ""
    return refit_words.scatter_words(now.times, given.readings.uncertainty)


def _cautions(given: RefitInputs, known: SoFar) -> Iterator[str]:
    readings = given.readings
    yield from readings_file.cautions(readings, given.makes)
    if readings.relief is not None and abs(readings.relief - known.relief) > readings.uncertainty:
        yield (
            f"relief is {readings.relief:.2f} mm now and was {known.relief:.2f} mm: set the neck"
            " first and read again, for the action moves with it"
        )


def _verdicts(given: RefitInputs, worked: Worked) -> Iterator[StringVerdict]:
    """Every string from the bass side: foreseen, read, believed, wanted, and what follows."""
    choice, now, known = worked.choice, worked.now, worked.known
    aims = aims_of(given, cutting_of((), False, given.count))
    first, twelfth = _fret_verdicts(worked, aims, given.readings.uncertainty)
    t1, t12 = now.first.fret.share, now.twelfth.fret.share
    over1 = now.first.estimate.mean - aims.first_fret
    over12 = now.twelfth.estimate.mean - aims.action
    for i, string in enumerate(given.found.instrument.strings):
        number = number_at(i, given.count)
        yield StringVerdict(
            number=number,
            note=string.note,
            first=first[i],
            twelfth=twelfth[i],
            nut_take=float(choice.nut[i]),
            saddle_take=float(choice.saddle[i]),
            nut_over=float(over1[i] / (1 - t1[i])),
            saddle_over=float(over12[i] / t12[i]),
            by=_cut_by(worked, i, number),
            waits=bool(choice.held[i]),
            nut_made=known.designed.nut_made,
            saddle_made=known.designed.saddle_made,
            unread=not given.readings.any_read,
        )


def _cut_by(worked: Worked, place: int, number: int) -> By:
    """Who cuts a slot now; where it is left alone, who made it."""
    if worked.choice.nut[place]:
        return "mill" if number in worked.cuts.milled else "files"
    return worked.known.designed.cutting.by[place]


def _fret_verdicts(
    worked: Worked, aims: Aims, uncertainty: float
) -> tuple[list[FretVerdict], list[FretVerdict]]:
    """Both frets, a verdict a string."""
    choice, known, now = worked.choice, worked.known, worked.now
    cutting = known.designed.cutting
    events = (*known.events, worked.judged.reading, choice.cut(cutting))
    later = belief(known.designed, events)
    sides = (
        (worked.judged.first, worked.judged.reading.first_fret, now.first, later.first_scatter,
         aims.first_fret, choice.stops.first_band, choice.first_done, choice.first_low),
        (worked.judged.twelfth, worked.judged.reading.action, now.twelfth, later.twelfth_scatter,
         aims.action, choice.stops.twelfth_band, choice.twelfth_done, choice.twelfth_low),
    )  # fmt: skip
    made = []
    for seen, read, believed, scatter, wanted, band, done, low in sides:
        then = foreseen(known.designed, scatter, uncertainty)
        made.append(
            [
                FretVerdict(
                    read=None if np.isnan(read[i]) else float(read[i]),
                    foreseen=float(seen.mean[i]),
                    foreseen_band=float(seen.band[i]),
                    believed=float(believed.estimate.mean[i]),
                    wanted=float(wanted[i]),
                    done_to=float(wanted[i] + band[i]),
                    done=bool(done[i]),
                    low=bool(low[i]),
                    after=float(then.mean[i]),
                    after_band=float(then.band[i]),
                )
                for i in range(len(wanted))
            ]
        )
    return made[0], made[1]
