"""A refit worked out, from the readings and the book of parts; nothing is written."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from blankcam.refit.as_cut import PartsAsCut, Taken
from blankcam.refit.book import Book, Entry
from blankcam.refit.cut_choice import Choice
from blankcam.refit.scatter import Belief, belief
from blankcam.refit.so_far import SoFar, digest_of, standing_calls
from blankcam.refit.verdict import Judged
from blankcam.workflows.refit.inputs import RefitInputs
from blankcam.workflows.refit.on_instrument import book_replayed, said_since
from blankcam.workflows.refit.pieces import Cuts
from blankcam.workflows.refit.readings import judged_readings
from blankcam.workflows.refit.settling import refit_entries, settled


@dataclass(frozen=True, slots=True, kw_only=True)
class Worked:
    """A refit worked out, nothing written."""

    known: SoFar
    entries: tuple[Entry, ...]
    """What this refit adds to the book."""
    judged: Judged
    now: Belief
    choice: Choice
    taken: Taken
    after: PartsAsCut
    cuts: Cuts


def work_out(given: RefitInputs, held: Book) -> Worked:
    """What the readings ask for, from the parts as the book says they stand.

    Raises
    ------
    InputError
        The book can't be used with this job.
    RefusedError
        The readings are questioned, or the parts must not be cut so.
    """
    calls = standing_calls(held.entries)
    again = bool(calls) and digest_of(calls[-1]) == given.readings.digest
    before = tuple(e for call in (calls[:-1] if again else calls) for e in call)
    begun = tuple(said_since(given, before))
    known = book_replayed(given, (*before, *begun))
    judged, entry = judged_readings(given, known)
    now = belief(known.designed, (*known.events, judged.reading))
    choice, taken, after, cuts = settled(given, known, now)
    call = (*begun, entry, *refit_entries(known, taken, cuts))
    return Worked(
        known=known,
        entries=() if again and _same(calls[-1], call) else call,
        judged=judged,
        now=now,
        choice=choice,
        taken=taken,
        after=after,
        cuts=cuts,
    )


def _same(one: Sequence[Entry], other: Sequence[Entry]) -> bool:
    return tuple(one) == tuple(other)
