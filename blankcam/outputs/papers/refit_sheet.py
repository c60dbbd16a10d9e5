"""A refit drawn: the work in order, each slot before and after, and what the saddle gives up.

Floors first, the nut's top last; what is asked for stands in one colour.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from blankcam.inputs.units import Units
from blankcam.machining.files import files
from blankcam.outputs.drawing import Drawing
from blankcam.outputs.drawings.saddle_trim import trim_view
from blankcam.outputs.drawings.slot_card import TALL, WIDE, SlotCard, slot_card
from blankcam.outputs.drawings.slot_section import Asked, SlotSection, Standing
from blankcam.outputs.papers.flow import PAPERS, Flow, heading, under
from blankcam.outputs.papers.refit_list import RefitSheet, part_words, summary
from blankcam.outputs.papers.sheet import add_setups, framed
from blankcam.outputs.papers.slot_work import LEAST
from blankcam.outputs.tables.refit import OFF, READ, THEN, ridge_table, verdict_table
from blankcam.parts.design import Design
from blankcam.parts.nut import Nut
from blankcam.parts.slot import Slot
from blankcam.refit.as_cut import designed_nut
from blankcam.refit.verdict import StringVerdict

CARD_WORDS = "before the cut: what goes is dotted; heights over the seat in mm, at the front edge"
LAST = ("nut: ", "next: ")  # how what is said of its top, and of all that is left, begins
TRIM_WORDS = "seen from the tail; what goes is dotted"


def pdf(
    design: Design,
    sheet: RefitSheet,
    *,
    paper: str = "A4",
    units: Units = "both",
    setups: Sequence[Drawing] = (),
) -> bytes:
    """What a refit asks for, as PDF.

    Parameters
    ----------
    design : the job as it is now, with the strings that are on
    paper : ``A4`` or ``Letter``
    units : of the tables
    setups : the cards of the set-ups that are cut
    """
    from blankcam.outputs.render import pdf as backend

    name = f"{sheet.job} - refit {sheet.count}"
    return backend.render(pages(design, sheet, paper, units, setups), PAPERS[paper], name)


def pages(
    design: Design,
    sheet: RefitSheet,
    paper: str = "A4",
    units: Units = "both",
    setups: Sequence[Drawing] = (),
) -> tuple[Drawing, ...]:
    """The pages; the lower left corner of the paper is the origin, mm."""
    flow = Flow(size=PAPERS[paper], units=units)
    flow.begin(f"refit {sheet.count}")
    flow.words("How it stands", summary(sheet))
    flow.words("In this order", [f"{i}. {step}" for i, step in enumerate(_steps(sheet), start=1)])
    verdicts = verdict_table(sheet.strings)
    flow.table(heading("Read and wanted"), verdicts.pick(*READ))
    comes_off = any(v.nut_take or v.saddle_take for v in sheet.strings)
    title = (
        "What comes off, and what should be read then" if comes_off else "What should be read then"
    )
    flow.table(heading(title), verdicts.pick(*(OFF if comes_off else THEN)))
    cards = [slot_card(card) for card in cards_of(design, sheet)]
    if cards:
        flow.rows(heading("The slots", CARD_WORDS), cards, (WIDE, TALL))
    _add_saddle(design, sheet, flow)
    if sheet.cautions or sheet.scatter:
        flow.words("What to know", [w for w in (sheet.scatter, *sheet.cautions) if w])
    flow.words("", sheet.notice)
    add_setups(flow, setups)
    facts = f"{design.job.instrument.kind}, {design.job.instrument.handed}-handed; "
    return framed(flow, sheet.job, f"{facts}job {sheet.job_digest}")


def _steps(sheet: RefitSheet) -> Iterator[str]:
    """The work: the floors, the saddle, the nut's top, and what is next once all is done."""
    if asked := [v for v in sheet.strings if v.nut_take]:
        names = ", ".join(f"{v.number} by {v.nut_take:.2f} mm" for v in asked)
        yield f"floors of the slots, as on their cards: {names}"
    yield from sorted(part_words(sheet), key=lambda w: w.startswith(LAST))


def cards_of(design: Design, sheet: RefitSheet) -> Iterator[SlotCard]:
    """A card for each slot of a nut that is cut, from the bass side."""
    now, then = sheet.before.nut, sheet.after.nut
    if now is None or then is None or not sheet.taken.nut_cut:
        return
    wanted = designed_nut(design)
    stock = now.height + now.allowance
    for i, verdict in enumerate(sheet.strings):
        asked = Asked(floor=then.slots[i].floor_front, top=_top(then, i))
        section = SlotSection(
            nut=_standing(wanted, now, i),
            slot=wanted.slots[i],
            string=design.instrument.strings[i],
            stock=stock,
            milled=True,
            bass_left=not design.job.left_handed,
            refit=asked,
        )
        yield SlotCard(
            section=section,
            standing=Standing.REFIT,
            state=f"{_by(verdict)}, refit {sheet.count}",
            work=tuple(_work(verdict, section, asked)),
        )


def _top(nut: Nut, place: int) -> float:
    """Height of the top as it stands over one slot's middle."""
    centre = np.array(nut.slots[place].centre)
    return float(nut.top.height(centre)) + nut.allowance


def _standing(wanted: Nut, now: Nut, place: int) -> Nut:
    """The nut as designed, with what still stands over one slot's floor and over the top there."""
    slot = wanted.slots[place]
    top = slot.floor_front + slot.depth_front
    return replace(
        wanted,
        hold_back=now.slots[place].floor_front - slot.floor_front,
        allowance=max(_top(now, place) - top, 0.0),
    )


def _by(verdict: StringVerdict) -> str:
    return "mill" if verdict.by == "mill" else "file"


def _work(verdict: StringVerdict, section: SlotSection, asked: Asked) -> Iterator[str]:
    """What is taken off the floor, then off the top, and what fret 1 comes to."""
    off = section.rough_top - asked.top
    if verdict.nut_take:
        how = "by the mill" if verdict.by == "mill" else _file_words(section.slot)
        yield f"{verdict.nut_take:.2f} off the floor, {how}"
    else:
        yield "Leave its floor"
    yield f"Top last: {off:.2f} down to {asked.top:.2f}" if off > LEAST else "Leave the top for now"
    first = verdict.first
    read = "" if first.read is None else f"{first.read:.2f} read, "
    yield f"Fret 1: {read}{first.after:.2f} after, {first.wanted:.2f} wanted"


def _file_words(slot: Slot) -> str:
    """The file that finishes a slot; a saw where none is narrow enough."""
    chosen = files(slot.width)
    return f"{chosen.final:.3f} in file" if chosen.fits else "saw"


def _add_saddle(design: Design, sheet: RefitSheet, flow: Flow) -> None:
    if sheet.saddles is None or sheet.taken.trim == "nothing":
        return
    now, then = sheet.saddles
    head = heading("The saddle", TRIM_WORDS)
    flow.add(under(head, trim_view(now, then, sheet.taken, not design.job.left_handed), 15.0))
    if sheet.taken.trim == "crown":
        flow.table(heading("Its ridge", "heights over its underside"), ridge_table(now, then))
