"""What a slot's card says: the step of the work, who cuts, and what is to be done in order."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from blankcam.machining.decision import Decision
from blankcam.machining.files import files
from blankcam.outputs.drawings.slot_card import SlotCard
from blankcam.outputs.drawings.slot_section import SlotSection, Standing
from blankcam.parts.design import Design
from blankcam.parts.nut import Nut
from blankcam.parts.slot import Slot
from blankcam.parts.stage import Stage
from blankcam.parts.surface import HeightField

LEAST = 0.005
"""mm: less is not told."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SlotsCut:
    """Who makes a nut's slots, to which stage."""

    stage: Stage = Stage.ROUGH
    choices: Mapping[int, Decision] = field(default_factory=dict)
    """By the number of its string; all are the file's where it is empty."""
    left: HeightField | None = None
    """What the replay of its programs left of the nut."""


def cards_of(design: Design, nut: Nut, cut: SlotsCut) -> Iterator[SlotCard]:
    """A card a slot before it is cut, from the bass side."""
    rough, blank = cut.stage is Stage.ROUGH, design.job.blanks.nut
    assert blank is not None, "a nut that is made has a blank"
    for slot, string in zip(nut.slots, design.instrument.strings, strict=True):
        choice = cut.choices.get(slot.string)
        tool = choice.tool if choice else None
        section = SlotSection(
            nut=nut,
            slot=slot,
            string=string,
            stock=blank.height,
            milled=tool is not None,
            bass_left=not design.job.left_handed,
            left=cut.left if rough else None,
        )
        yield SlotCard(
            section=section,
            standing=Standing.ROUGH if rough else Standing.FINISHED,
            state=f"{f'T{tool.number}' if tool else 'file'}, {cut.stage}",
            work=tuple(_work(section, f"T{tool.number}" if tool else "", rough=rough)),
        )


def _work(section: SlotSection, tool: str, *, rough: bool) -> Iterator[str]:
    """What is cut now, and what is left for after the strings are on."""
    slot = section.slot
    floor = section.first_floor if rough else slot.floor_front
    top = section.rough_top if rough else section.finished_top
    if tool:
        yield f"{tool} cuts the floor to {floor:.2f}"
    else:
        yield f"{file_words(slot)}: {max(top - floor, 0.0):.2f} deep"
    held, allowed = floor - slot.floor_front, top - section.finished_top
    if held > LEAST:
        yield f"Strung and read: the last {held:.2f} off the floor"
    if allowed > LEAST:
        yield f"Last of all: {allowed:.2f} off the top"


def file_words(slot: Slot) -> str:
    """The files for a slot, in inches as gauged files are sold."""
    chosen = files(slot.width)
    if not chosen.fits:
        return "Saw"
    sizes = dict.fromkeys((chosen.start, chosen.final))
    return f"File {', then '.join(f'{s:.3f}' for s in sizes)} in"
