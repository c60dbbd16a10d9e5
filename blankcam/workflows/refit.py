"""After stringing: from a job, its readings and its book of parts to what is cut next, or done.

The readings are foreseen and questioned before they are used; what follows is proven, written, and
entered into the book last.
"""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from blankcam import digest, output_folder
from blankcam.faults import Fault, InputError, RefusedError
from blankcam.inputs import job_file, readings_file
from blankcam.inputs.border import read_text
from blankcam.inputs.job import Job
from blankcam.inputs.machine import Profile
from blankcam.inputs.readings_file import ByString, OnInstrument, Readings
from blankcam.outputs.papers import next_steps, refit_list, refit_words
from blankcam.outputs.papers.refit_list import RefitSheet, State
from blankcam.outputs.papers.refit_words import Surprise
from blankcam.outputs.render import records
from blankcam.outputs.rows import Section
from blankcam.outputs.tables import report
from blankcam.parts.design import Design, design
from blankcam.parts.stage import Stage
from blankcam.refit import as_cut, book
from blankcam.refit.as_cut import Standing, Taken
from blankcam.refit.book import (
    Book,
    Entry,
    Made,
    NewStrings,
    NotCut,
    PartName,
    ReadingsTaken,
    Refitted,
    ShimPut,
    SlotsFilled,
)
from blankcam.refit.cut_choice import Choice
from blankcam.refit.estimate import Array
from blankcam.refit.numbers import by_number, from_bass, number_at
from blankcam.refit.questions import Known
from blankcam.refit.scatter import Belief, belief
from blankcam.refit.so_far import (
    SoFar,
    cutting_of,
    digest_of,
    first_from_held,
    reading_of,
    so_far,
    standing_calls,
    taken_of,
)
from blankcam.refit.spreads import Cutting
from blankcam.refit.verdict import (
    Aims,
    FretVerdict,
    Judged,
    StringVerdict,
    choose_from,
    foreseen,
    judge_reading,
)
from blankcam.workflows.refit_cuts import STEMS, Cuts, Piece, cut_pieces, pieces, requests
from blankcam.workflows.request import machine_of

__all__ = ["STEMS", "prove", "refit"]

RELIEF_NOTICED = 0.02  # mm a relief may differ by before it is a cause


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """What a refit is told, all but the book."""

    found: Design
    """The job as it is now: the targets, and the strings that are on."""
    text: str
    """Of the job file."""
    readings: Readings
    profile: Profile

    @property
    def count(self) -> int:
        """How many strings."""
        return len(self.found.job.strings)


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
    after: Standing
    cuts: Cuts


def refit(
    job_path: str,
    readings_path: str,
    out: str,
    machine: str | None,
    *,
    force: bool = False,
    drop_torn_line: bool = False,
) -> Iterator[Section]:
    """Work a refit out, prove its programs, write the folder, then the book; yields what to show.

    The book comes last: should it fail, the next refit takes the parts to be higher than they are,
    never lower. It is held from before it is read until it is written, so that two refits at once
    take turns.

    Raises
    ------
    BlankcamError
        Before anything is written, but for a book that can't be written.
    """
    path = book.book_path(job_path)
    output_folder.check(out, force=force)
    output_folder.check_growing_file(path)
    bench = _bench(job_path, readings_path, machine)
    book.refuse_old_log(job_path)
    with book.locked(path):
        if drop_torn_line:
            book.drop_torn_line(path)
        held = book.read_book(path)
        worked = work_out(bench, held)
        sheet = _sheet(bench, worked)
        files = {f.name: f.text.encode() for r in worked.cuts.results for f in r.programs}
        files["refit.md"] = refit_list.bench(sheet).encode()
        files["refit.json"] = records.render(refit_list.record(sheet)).encode()
        output_folder.write(out, files, force=force)
        if worked.entries:
            book.add_entries(held, worked.entries)
    yield from refit_list.sections(sheet)
    names = ", ".join(sorted(files))
    yield Section(title="Written", notes=(f"to {out}: {names}", path))
    nothing, done = worked.taken.nothing, sheet.state == "done"
    steps = tuple(next_steps.after_refit(out, files, nothing=nothing, done=done))
    if steps:
        yield Section(title="Next", verbatim=True, notes=steps)


def _bench(job_path: str, readings_path: str, machine: str | None) -> Bench:
    text = read_text(job_path)
    job = job_file.parse(text, job_path)
    readings = readings_file.load(readings_path, len(job.strings))
    return Bench(found=design(job), text=text, readings=readings, profile=machine_of(job, machine))


def work_out(bench: Bench, held: Book) -> Worked:
    """What the readings ask for, from the parts as the book says they stand.

    Raises
    ------
    InputError
        The book can't be used with this job.
    RefusedError
        The readings are questioned, or the parts must not be cut so.
    """
    calls = standing_calls(held.entries)
    again = bool(calls) and digest_of(calls[-1]) == bench.readings.digest
    before = tuple(e for call in (calls[:-1] if again else calls) for e in call)
    begun = tuple(_said(bench, before))
    known = _so_far(bench, (*before, *begun))
    judged, entry = _judged(bench, known)
    now = belief(known.bench, (*known.events, judged.reading))
    choice, taken, after, cuts = _settled(bench, known, now)
    call = (*begun, entry, *_refitted(known, taken, cuts))
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


# What is on the instrument ------------------------------------------------------------------------


def _said(bench: Bench, before: Sequence[Entry]) -> Iterator[Entry]:
    """What the maker says has happened since, as entries of the book."""
    readings = bench.readings
    if not before:
        yield from (_made(bench, "nut", 1), _made(bench, "saddle", 1))
    if readings.last_refit == "not cut":
        if not any(isinstance(e, Refitted) for e in before):
            raise InputError(
                Fault(
                    where=readings.path,
                    key="readings.last_refit",
                    found="not cut",
                    wrong="the book knows of no refit",
                    fix="leave it out",
                )
            )
        yield NotCut()
    told: tuple[tuple[PartName, OnInstrument], ...] = (
        ("nut", readings.nut),
        ("saddle", readings.saddle),
    )
    for part, on_it in told:
        if on_it.new and before:
            number = max(e.number for e in before if isinstance(e, Made) and e.part == part)
            yield _made(bench, part, number + 1)
        if on_it.shim:
            yield ShimPut(part=part, by=on_it.shim)
    if readings.filled:
        yield SlotsFilled(strings=readings.filled)
    yield from _new_strings(bench, before)


def _made(bench: Bench, part: PartName, number: int) -> Made:
    job, profile = bench.found.job, bench.profile
    by_mill = profile.cuts_programs and (part == "saddle" or job.plan.slots == "mill")
    numbers = tuple(range(bench.count, 0, -1))
    return Made(
        part=part,
        number=number,
        stage=bench.readings.stage,
        job=bench.text,
        milled=numbers if by_mill else (),
    )


def _new_strings(bench: Bench, before: Sequence[Entry]) -> Iterator[NewStrings]:
    """Other strings than the parts were made for, or were refitted with last."""
    texts = [e.job for e in before if isinstance(e, Made | NewStrings)]
    if not texts:
        return
    last = job_file.parse(texts[-1], bench.found.job.path)
    if _strings_of(last) != _strings_of(bench.found.job):
        pulls = [sum(s.force.tension for s in f.strings) for f in (design(last), bench.found)]
        yield NewStrings(job=bench.text, pull=pulls[1] / pulls[0])


def _strings_of(job: Job) -> str:
    return json.dumps([dataclasses.asdict(s) for s in job.strings], sort_keys=True)


def _shape_of(job: Job) -> str:
    """All in a job that says how its parts stand, but the strings: neither machine nor doubts."""
    names = ("instrument", "board", "nut", "saddle", "blanks")
    values = {n: v for n, v in dataclasses.asdict(job).items() if n in names}
    return digest.of_text(json.dumps(values, sort_keys=True))


def _so_far(bench: Bench, entries: Sequence[Entry]) -> SoFar:
    """The book replayed, the job it was begun with still being this one."""
    return so_far(entries, _designs(bench.found, entries))


def _designs(found: Design, entries: Sequence[Entry]) -> dict[PartName, Design]:
    """What the parts now on the instrument were made from; refused where the job is another."""
    made: dict[PartName, Design] = {}
    shape = _shape_of(found.job)
    for entry in entries:
        if isinstance(entry, Made):
            job = job_file.parse(entry.job, found.job.path)
            if _shape_of(job) != shape or len(job.strings) != len(found.job.strings):
                raise RefusedError(_changed(found))
            made[entry.part] = design(job)
    return made


def _changed(found: Design) -> Fault:
    return Fault(
        where=found.job.path,
        wrong="the job was changed after its parts were strung: they no longer stand as it says",
        fix="put the old values back, and new targets as want_first_fret and want_action into the"
        " readings; other strings may stay; or, for new parts, move the book of parts away",
    )


# The readings -------------------------------------------------------------------------------------


def _judged(bench: Bench, known: SoFar) -> tuple[Judged, ReadingsTaken]:
    """The readings foreseen and questioned; raises RefusedError where they surprise."""
    entry = _taken_down(bench)
    reading = reading_of(known.bench, entry, bench.count)
    confirmed = bench.readings.twice
    judged = judge_reading(
        known.bench, known.events, reading, _known(bench, known), confirmed=confirmed
    )
    if judged.asked:
        raise RefusedError(_questions(bench, known, judged))
    if judged.reading.loosened is not None:
        cause = judged.weighed.explanations[0].cause
        number = None if cause.string is None else number_at(cause.string, bench.count)
        entry = dataclasses.replace(
            entry, loosened=cause.kind, loosened_string=number, loosened_which=cause.which or ""
        )
    return judged, entry


def _taken_down(bench: Bench) -> ReadingsTaken:
    """The readings as an entry of the book."""
    readings, count = bench.readings, bench.count
    gaps, action = from_bass(readings.third_fret, count), from_bass(readings.action, count)
    held = first_from_held(bench.found, gaps, action)
    return ReadingsTaken(
        digest=readings.digest,
        first_fret=dict(readings.first_fret),
        action=dict(readings.action),
        held={n: v for n, v in by_number(held).items() if not np.isnan(v)},
        uncertainty=readings.uncertainty,
        relief=readings.relief,
        settled=readings.settled,
        measured="twice" if readings.twice else "once",
    )


def _known(bench: Bench, known: SoFar) -> Known:
    """What else the maker said that bears on the readings."""
    readings, board = bench.readings, bench.found.instrument.board
    lift = None
    if readings.relief is not None and abs(readings.relief - known.relief) > RELIEF_NOTICED:
        bow = float(dataclasses.replace(board, relief=1.0).dip(board.fret_at(np.array(12.0))))
        lift = np.full(bench.count, (readings.relief - known.relief) * bow)
    other_nut, other_saddle = None, 0.0
    if not known.events:
        nut, saddle = as_cut.both_parts(bench.found)
        sign = -1.0 if known.stage is Stage.ROUGH else 1.0
        other_nut = np.full(bench.count, sign * nut.hold_back)
        other_saddle = sign * saddle.allowance
    return Known(
        young=readings_file.is_young(readings),
        relief_lift=lift,
        other_stage_nut=other_nut,
        other_stage_saddle=other_saddle,
    )


def _questions(bench: Bench, known: SoFar, judged: Judged) -> list[Fault]:
    """A fault for what surprised, and one for each likely cause, the likeliest first."""
    surprise = _surprise(bench, known, judged)
    path = bench.readings.path
    key = "readings.first_fret" if surprise.fret == 1 else "readings.action"
    faults = [
        Fault(
            where=path,
            key=key,
            wrong=refit_words.surprise_words(surprise),
            fix=refit_words.CONFIRM,
        )
    ]
    for place, (wrong, fix) in enumerate(refit_words.cause_words(surprise), start=1):
        faults.append(Fault(where=path, key=f"likely cause {place}", wrong=wrong, fix=fix))
    return faults


def _surprise(bench: Bench, known: SoFar, judged: Judged) -> Surprise:
    off = [
        (read - seen.mean, seen)
        for read, seen in (
            (judged.reading.first_fret, judged.first),
            (judged.reading.action, judged.twelfth),
        )
    ]
    far = np.array([np.nan_to_num(np.abs(o) / seen.band) for o, seen in off])
    fret, place = np.unravel_index(int(np.argmax(far)), far.shape)
    difference, seen = off[int(fret)]
    shares = (known.bench.first.share, known.bench.twelfth.share)
    at_nut = float(np.nanmean(_or_zero(off[0][0] / (1 - shares[0]))))
    at_saddle = float(np.nanmean(_or_zero(off[1][0] - (1 - shares[1]) * at_nut) / shares[1]))
    return Surprise(
        explanations=judged.weighed.explanations,
        strings=bench.count,
        worst=number_at(int(place), bench.count),
        fret=(1, 12)[int(fret)],
        read=float(seen.mean[place] + difference[place]),
        foreseen=float(seen.mean[place]),
        band=float(seen.band[place]),
        nut_rise=at_nut,
        saddle_rise=at_saddle,
        part_names=(f"nut {known.nut_number}", f"saddle {known.saddle_number}"),
    )


def _or_zero(values: Array) -> Array:
    return values if np.any(~np.isnan(values)) else np.zeros_like(values)


# What follows -------------------------------------------------------------------------------------


def _settled(bench: Bench, known: SoFar, now: Belief) -> tuple[Choice, Taken, Standing, Cuts]:
    """What to take off and its programs.

    Who cuts a slot is known only when it is planned, and how far off a cut may be is known only by
    who cuts: where a slot planned for the mill falls to the file, all is chosen once more.
    """
    stands = dataclasses.replace(
        known.standing, nut=as_cut.with_strings(bench.found, known.standing.nut)
    )
    mills = bench.profile.cuts_programs
    slots = range(bench.count, 0, -1) if mills and bench.found.job.plan.slots == "mill" else ()
    cutting = cutting_of(tuple(slots), mills, bench.count)
    for _ in range(2):
        choice = choose_from(now, _aims(bench, cutting), bench.readings.uncertainty)
        taken = _taken(bench, stands, choice)
        after = as_cut.after(bench.found, stands, taken)
        if not taken.nothing:
            as_cut.stop_unfit(bench.found, after)
        asked = tuple(pieces(stands, after, taken))
        cuts = Cuts()
        if mills:
            cuts = cut_pieces(bench.found.job, bench.readings.digest, bench.profile, asked)
        by = _cut_by(cutting, taken, cuts, bench.count)
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


def _aims(bench: Bench, cutting: Cutting) -> Aims:
    """What the maker wants: the job's clearances, or those of the readings file."""
    found = _wanted(bench)
    instrument, saddle = found.instrument, as_cut.both_parts(bench.found)[1]
    frets = np.array([1.0, 12.0])
    wanted = np.array([s.clearance(instrument.board, frets) for s in instrument.strings])
    return Aims(
        first_fret=wanted[:, 0],
        action=wanted[:, 1],
        cutting=cutting,
        centres=np.array([s.centre for s in saddle.strings]),
        saddle_length=saddle.length,
    )


def _wanted(bench: Bench) -> Design:
    """The design with the targets of the readings file, checked like any other."""
    job, readings = bench.found.job, bench.readings
    if not readings.want_first_fret and not readings.want_action:
        return bench.found
    nut, saddle = job.nut, job.saddle
    if readings.want_first_fret:
        nut = dataclasses.replace(
            nut, first_fret=_each(readings.want_first_fret, bench.count), lift=None
        )
    if readings.want_action:
        saddle = dataclasses.replace(saddle, action=_each(readings.want_action, bench.count))
    try:
        return design(dataclasses.replace(job, nut=nut, saddle=saddle))
    except RefusedError as refused:
        raise RefusedError(
            [
                dataclasses.replace(f, where=readings.path, key=f"readings.want_*: {f.key}")
                for f in refused.faults
            ]
        ) from None


def _each(values: ByString, count: int) -> tuple[float, ...]:
    return tuple(float(v) for v in from_bass(values, count))


def _taken(bench: Bench, stands: Standing, choice: Choice) -> Taken:
    """What is taken off; the nut's top only when its floors are final and none is too low."""
    taken = Taken(
        nut=tuple(float(v) for v in choice.nut),
        saddle=tuple(float(v) for v in choice.saddle),
        trim=choice.trim,
        bottom_left=choice.ends[0],
        bottom_right=choice.ends[1],
        widths=as_cut.widths_lacking(bench.found, stands.nut),
    )
    due = choice.done and not taken.widths and as_cut.top_is_due(bench.found, stands.nut)
    return dataclasses.replace(taken, top=due)


def _refitted(known: SoFar, taken: Taken, cuts: Cuts) -> Iterator[Refitted]:
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


# What is told -------------------------------------------------------------------------------------


def _sheet(bench: Bench, worked: Worked) -> RefitSheet:
    from blankcam import safety

    job, known = bench.found.job, worked.known
    cuts, slots = worked.cuts, any(worked.taken.nut) or worked.taken.widths
    told = (*_cautions(bench, known), *cuts.by_hand, *(cuts.left_to_the_file if slots else ()))
    of_parts = as_cut.cautions(worked.after)
    cautions = (*told, *of_parts, *(c for r in cuts.results for c in r.cautions))
    return RefitSheet(
        job=job.instrument.name,
        job_digest=job.digest,
        count=known.refits + 1,
        nut_number=known.nut_number,
        saddle_number=known.saddle_number,
        state=_state(worked),
        strings=tuple(_verdicts(bench, worked)),
        taken=worked.taken,
        before=known.standing,
        after=worked.after,
        top_due=as_cut.top_is_due(bench.found, worked.after.nut),
        scatter=_scatter(bench, worked.now),
        cautions=tuple(dict.fromkeys(cautions)),
        programs=tuple(r for c in worked.cuts.results for r in report.program_records(c)),
        notice=safety.notice(job.blanks.material, str(bench.profile.kind)),
    )


def _state(worked: Worked) -> State:
    if worked.choice.done and not worked.taken.widths:
        return "done"
    return "mend" if worked.taken.nothing else "cut"


def _scatter(bench: Bench, now: Belief) -> str:
    if not now.understated:
        return ""
    return refit_words.scatter_words(now.times, bench.readings.uncertainty)


def _cautions(bench: Bench, known: SoFar) -> Iterator[str]:
    readings = bench.readings
    yield from readings_file.cautions(readings)
    if readings.relief is not None and abs(readings.relief - known.relief) > readings.uncertainty:
        yield (
            f"relief is {readings.relief:.2f} mm now and was {known.relief:.2f} mm: set the neck"
            " first and read again, for the action moves with it"
        )


def _verdicts(bench: Bench, worked: Worked) -> Iterator[StringVerdict]:
    """Every string from the bass side: foreseen, read, believed, wanted, and what follows."""
    choice, now = worked.choice, worked.now
    aims = _aims(bench, cutting_of((), False, bench.count))
    first, twelfth = _fret_verdicts(worked, aims, bench.readings.uncertainty)
    t1, t12 = now.first.fret.share, now.twelfth.fret.share
    over1 = now.first.estimate.mean - aims.first_fret
    over12 = now.twelfth.estimate.mean - aims.action
    for i, string in enumerate(as_cut.both_parts(bench.found)[0].slots):
        number = number_at(i, bench.count)
        yield StringVerdict(
            number=number,
            note=string.note,
            first=first[i],
            twelfth=twelfth[i],
            nut_take=float(choice.nut[i]),
            saddle_take=float(choice.saddle[i]),
            nut_over=float(over1[i] / (1 - t1[i])),
            saddle_over=float(over12[i] / t12[i]),
            by="mill" if number in worked.cuts.milled else "files",
            waits=bool(choice.held[i]),
        )


def _fret_verdicts(
    worked: Worked, aims: Aims, uncertainty: float
) -> tuple[list[FretVerdict], list[FretVerdict]]:
    """Both frets, a verdict a string."""
    choice, known, now = worked.choice, worked.known, worked.now
    cutting = known.bench.cutting
    events = (*known.events, worked.judged.reading, choice.cut(cutting))
    later = belief(known.bench, events)
    sides = (
        (worked.judged.first, worked.judged.reading.first_fret, now.first, later.first_scatter,
         aims.first_fret, choice.stops.first_band, choice.first_done, choice.first_low),
        (worked.judged.twelfth, worked.judged.reading.action, now.twelfth, later.twelfth_scatter,
         aims.action, choice.stops.twelfth_band, choice.twelfth_done, choice.twelfth_low),
    )  # fmt: skip
    made = []
    for seen, read, believed, scatter, wanted, band, done, low in sides:
        then = foreseen(known.bench, scatter, uncertainty)
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


# Programs of earlier refits -----------------------------------------------------------------------


def prove(
    program: str, job_path: str, machine: str | None, stage: Stage | None, *, as_json: bool
) -> tuple[bool, list[str]]:
    """Replay a program of a refit, also an edited one, on the part as the book says it then stood.

    Which refit it belongs to is said by the digest of its readings in its header; without one it
    is taken to be of the last. Returns whether it passed and the lines to print.

    Raises
    ------
    InputError
        No such refit is in the book, or it cut nothing of that name.
    """
    if stage is not None:
        wrong = "a refit's program has no stage"
        raise InputError(Fault(where=program, wrong=wrong, fix="leave --stage out"))
    from blankcam.workflows import prove as proofs

    data = proofs.program_bytes(program)
    job = job_file.load(job_path)
    profile, found = machine_of(job, machine), design(job)
    asked, of = _asked_for(program, data, found)
    stem = proofs.stem_of(program, data)
    every = requests(job, of, profile, asked)
    request = next((r for r in every if stem.startswith(r.label.stem)), None)
    if request is None:
        fix = f"what it cuts is {', '.join(p.stem for p in asked) or 'nothing'}"
        raise InputError(Fault(where=program, wrong="its refit has no such program", fix=fix))
    return proofs.prove_given(program, data, stem, request, as_json=as_json)


def _asked_for(program: str, data: bytes, found: Design) -> tuple[tuple[Piece, ...], str]:
    """What the refit of a program asked for, and the digest of its readings."""
    from blankcam.gcode.header import read_header

    path = book.book_path(found.job.path)
    entries = book.read_book(path).entries
    of = read_header(data).readings_digest
    refitted = [i for i, e in enumerate(entries) if isinstance(e, Refitted)]
    if not of:
        at = refitted[-1] if refitted else None
    else:
        at = next((i for i in reversed(refitted) if _readings_before(entries, i) == of), None)
    if at is None:
        wrong = f"its refit is not in the book {path}"
        fix = "give the job that was refitted, with its book of parts beside it"
        raise InputError(Fault(where=program, wrong=wrong, fix=fix))
    before = tuple(e for call in standing_calls(entries[:at]) for e in call)
    known = so_far(before, _designs(found, before))
    entry = entries[at]
    assert isinstance(entry, Refitted)
    taken = taken_of(entry, len(found.job.strings))
    now = dataclasses.replace(known.standing, nut=as_cut.with_strings(found, known.standing.nut))
    after = as_cut.after(found, now, taken)
    return tuple(pieces(now, after, taken)), _readings_before(entries, at)


def _readings_before(entries: Sequence[Entry], at: int) -> str:
    """Digest of the readings that an entry's refit goes by."""
    return next((e.digest for e in reversed(entries[:at]) if isinstance(e, ReadingsTaken)), "")
