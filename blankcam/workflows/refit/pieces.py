"""What a refit takes off, as requests to the machine, and what came of them."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from blankcam.faults import RefusedError
from blankcam.inputs.job import Job
from blankcam.inputs.machine import Profile
from blankcam.machining.request import CutRequest, Label
from blankcam.outputs.reasons import words
from blankcam.parts.frames import Box
from blankcam.parts.nut import Nut
from blankcam.parts.part import Part
from blankcam.parts.stage import Stage
from blankcam.refit import as_cut
from blankcam.refit.as_cut import PartsAsCut, Taken
from blankcam.refit.numbers import number_at, numbers_where
from blankcam.workflows.request import machine_for

if TYPE_CHECKING:
    from blankcam.cut import CutResult

STEMS = ("nut-refit", "saddle-refit", "saddle-bottom")


@dataclass(frozen=True, slots=True)
class Piece:
    """A part as it is to be, how high it stands now, and the name of its program."""

    part: Part
    height: float
    stem: str
    stage: Stage = Stage.FINAL
    turned: bool = False
    slots_alone: bool = False
    """Its top stays as it stands."""

    @property
    def box(self) -> Box:
        """What the standing part fills at most."""
        part = self.part
        return Box(x0=0.0, x1=part.length, y0=0.0, y1=part.thickness, z0=0.0, z1=self.height)


@dataclass(frozen=True, slots=True, kw_only=True)
class Cuts:
    """The proven programs of a refit, and what is left to the hand."""

    results: tuple[CutResult, ...] = ()
    by_hand: tuple[str, ...] = ()
    """Why a piece has no program: its marks serve a hand too."""
    left_to_the_file: tuple[str, ...] = ()
    """Slots that no tool cuts, and why."""
    milled: tuple[int, ...] = ()
    """Numbers of the strings whose slots the machine cuts."""
    saddle_milled: bool = False


def pieces(now: PartsAsCut, after: PartsAsCut, taken: Taken) -> Iterator[Piece]:
    """What is to be cut."""
    if now.nut is not None and after.nut is not None and taken.nut_cut:
        rough = now.nut.at(Stage.ROUGH)
        height = now.nut.height + rough.raised + rough.ridge
        # Its front is cut back already
        nut = after.nut.with_whole_front([s.string for s in after.nut.slots if s.step])
        nut, alone = (nut if taken.top else _slots_alone(nut, height)), not taken.top
        yield Piece(nut, height, "nut-refit", stage=after.nut_stage, slots_alone=alone)
    if now.saddle is None or after.saddle is None:
        return
    if taken.trim == "crown":
        yield Piece(after.saddle, now.saddle.height, "saddle-refit")
    elif taken.trim == "bottom":
        trim = as_cut.bottom_trim(now.saddle, taken)
        yield Piece(trim, now.saddle.height, "saddle-bottom", turned=True)


def _slots_alone(nut: Nut, height: float) -> Nut:
    """The nut as if its top were level, as high as the box it stands in.

    The machine knows the standing part as a box. With its own top, which falls toward both ends,
    the corners of that box would be waste to cut, though nothing stands there; a level top leaves
    the slots alone to cut, and lets nothing come nearer to the top that stands.
    """
    return dataclasses.replace(nut, top=as_cut.straight(height - nut.allowance, 0.0))


def requests(
    job: Job, readings: str, profile: Profile, asked: Iterable[Piece]
) -> Iterator[CutRequest]:
    """A request a piece: nothing is cut but its top, its slots and round ends.

    Parameters
    ----------
    readings : digest of the readings that ask for it
    """
    wishes = dataclasses.replace(job.plan, outline="saw", thickness="hand", ends="mill")
    for piece in asked:
        yield CutRequest(
            part=piece.part,
            blank=piece.box,
            machine=machine_for(piece.part.name, job, profile),
            material=job.blanks.material,
            stage=piece.stage,
            wishes=wishes,
            label=Label(
                stem=piece.stem,
                job=job.instrument.name,
                job_digest=job.digest,
                readings_digest=readings,
            ),
            turned=piece.turned,
        )


def cut_pieces(job: Job, readings: str, profile: Profile, asked: Sequence[Piece]) -> Cuts:
    """The programs of what is to be cut, proven.

    Raises
    ------
    RefusedError
        A proof failed.
    """
    from blankcam.workflows.cut_part import cut_part, stop_unproven

    results: list[CutResult] = []
    by_hand: list[str] = []
    wanted = requests(job, readings, profile, asked)
    for piece, request in zip(asked, wanted, strict=True):
        try:
            result = cut_part(request)
        except RefusedError as refused:
            first, *others = refused.faults
            more = f" (and {len(others)} more)" if others else ""
            name = request.part.name
            by_hand.append(f"{name}: no program, cut it by hand to the marks: {first.wrong}{more}")
            continue
        if piece.slots_alone and not result.milled:
            by_hand += _marks_alone(result)
            continue
        by_hand += _shaped_by_hand(result)
        if result.programs:
            results.append(result)
    stop_unproven(results)
    return Cuts(
        results=tuple(results),
        by_hand=tuple(by_hand),
        left_to_the_file=tuple(_left_to_the_file(results)),
        milled=next((_milled(r) for r in results if r.request.label.stem == "nut-refit"), ()),
        saddle_milled=any(r.request.part.name == "saddle" and r.shaped for r in results),
    )


def _shaped_by_hand(result: CutResult) -> Iterator[str]:
    """That the top, and without any program all of a part, is cut by hand to the marks."""
    if result.shaped:
        return
    name, top = result.request.part.name, result.request.part.top_feature
    why = next(words(d.reasons) for d in result.decisions if d.feature.kind is top)
    what = f"bring its {top} down by hand to the marks"
    if not result.programs:
        what = "no program, cut it by hand to the marks"
    yield f"{name}: {what}: {why}"


def _marks_alone(result: CutResult) -> Iterator[str]:
    """That slots are filed to the marks: the machine cuts none of them."""
    why = next(words(d.reasons) for d in result.decisions if d.feature.string)
    yield f"{result.request.part.name}: no program, cut it by hand to the marks: {why}"


def _milled(result: CutResult) -> tuple[int, ...]:
    slots = result.request.part.slots
    return numbers_where([s.string in result.milled for s in slots])


def _left_to_the_file(results: Sequence[CutResult]) -> Iterator[str]:
    for result in results:
        for place, slot in enumerate(result.slots):
            if slot.tool is None:
                number = number_at(place, len(result.slots))
                yield f"slot {number} is left to the file: {words(slot.reasons)}"
