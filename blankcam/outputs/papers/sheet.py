"""The 1:1 sheet for the bench, as PDF or SVG.

The nut with a card for each slot, the saddle, a card for each set-up of the machine, then blanks,
cents, cautions, the printer's check and the notice, on as many pages as they take. Every page
carries a 100 mm and a 4 in rule.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Mapping, Sequence
from functools import partial

from blankcam.data import table
from blankcam.inputs.units import Units
from blankcam.outputs.drawing import Drawing, Words, joined, stroke
from blankcam.outputs.drawings import cents, views
from blankcam.outputs.drawings.slot_card import TALL, WIDE, slot_card
from blankcam.outputs.papers.flow import (
    LINE,
    MARGIN,
    PAPERS,
    PLAIN,
    TITLE,
    Flow,
    beside,
    heading,
    height_of,
    under,
)
from blankcam.outputs.papers.slot_work import SlotsCut, cards_of
from blankcam.outputs.render.ruled import SIXTY_FOURTHS
from blankcam.outputs.tables.blanks import blank_table, fit_words
from blankcam.outputs.tables.nut import edge_table, slot_table
from blankcam.outputs.tables.saddle import seat_table, slant_words
from blankcam.outputs.typeface import broken, shortened
from blankcam.parts.design import Design
from blankcam.parts.nut import Nut
from blankcam.parts.part import Part
from blankcam.parts.saddle import Saddle

SetupCards = Mapping[str, Sequence[Drawing]]
"""The cards of each part's set-ups, by the part's name."""
NONE: SetupCards = {}
STRIP_WORDS = "cut out, glue to the face seen, upper edges together; mm from the left end"
INDENT = 15.0  # of the 1:1 views and strips, which have dimensions on their left
SECTION = (68.0, 55.0)  # room of an enlarged section
SETUP_GAP = 9.0  # between two cards of set-ups
AND_BLANKS = 75.0  # room that a part's last page must have for the blanks to go on there


def pdf(
    design: Design,
    *,
    notice: Sequence[str],
    paper: str = "A4",
    cut: SlotsCut | None = None,
    units: Units = "both",
    setups: SetupCards = NONE,
) -> bytes:
    """The sheet as PDF, at 1:1 when printed at 100 %; the same job gives the same bytes.

    Parameters
    ----------
    notice : lines of caution, printed on the last page
    paper : ``A4`` or ``Letter``
    cut : who makes the slots; all are the file's where it is None
    units : of the tables
    setups : the cards of each part's set-ups, by the part's name
    """
    from blankcam.outputs.render import pdf as backend

    made = pages(design, notice, paper, cut, units, setups)
    return backend.render(made, PAPERS[paper], name_of(design))


def svg(
    design: Design,
    *,
    notice: Sequence[str],
    paper: str = "A4",
    cut: SlotsCut | None = None,
    units: Units = "both",
    setups: SetupCards = NONE,
) -> tuple[bytes, ...]:
    """The sheet as SVG, a file a page."""
    from blankcam.outputs.render import svg as backend

    name = name_of(design)
    return tuple(
        backend.render(page, PAPERS[paper], f"{name} {i}")
        for i, page in enumerate(pages(design, notice, paper, cut, units, setups), start=1)
    )


def pages(
    design: Design,
    notice: Sequence[str],
    paper: str,
    cut: SlotsCut | None = None,
    units: Units = "both",
    setups: SetupCards = NONE,
) -> tuple[Drawing, ...]:
    """The pages; the lower left corner of the paper is the origin, mm."""
    flow = Flow(size=PAPERS[paper], units=units)
    for part in design.parts:
        flow.begin(part.name)
        _add_part(part, design, flow, cut or SlotsCut())
    add_setups(flow, [card for part in design.parts for card in setups.get(part.name, ())])
    _add_rest(design, notice, flow)
    facts = (
        f"1:1, millimetres, first-angle; {design.job.instrument.kind}, "
        f"{design.job.instrument.handed}-handed, scale {design.job.instrument.scale:.1f} mm; "
        f"{design.job.blanks.material}; job {design.job.digest}"
    )
    return framed(flow, design.job.instrument.name, facts)


def add_setups(flow: Flow, cards: Sequence[Drawing]) -> None:
    """The cards of all set-ups, on pages of their own."""
    if cards:
        flow.begin("set-ups")
    for card in cards:
        flow.add(card.moved(-card.extent()[0], 0.0), gap=SETUP_GAP)


def framed(flow: Flow, name: str, facts: str) -> tuple[Drawing, ...]:
    """The pages that a flow has filled, each with its head and the rules at its foot."""
    count = len(flow.pages)
    return tuple(
        joined((
            *page.blocks,
            _head(f"{name}: {page.name}", facts, f"{i} of {count}", flow.size),
            _rules(flow.size),
        ))
        for i, page in enumerate(flow.pages, start=1)
    )  # fmt: skip


def name_of(design: Design) -> str:
    """The instrument and the parts that are made for it."""
    return f"{design.job.instrument.name} - {design.part_names}"


def _head(name: str, facts: str, number: str, size: tuple[float, float]) -> Drawing:
    wide, tall = size
    room = wide - 2 * MARGIN
    base = tall - MARGIN - TITLE
    title = shortened(name, TITLE, room - 22.0, bold=True)
    return Drawing(
        words=(
            Words(at=(MARGIN, base), text=title, height=TITLE, bold=True),
            Words(at=(wide - MARGIN, base), text=number, height=PLAIN, anchor="right"),
            Words(at=(MARGIN, base - 4.6), text=shortened(facts, PLAIN, room), height=PLAIN),
        ),
        paths=(stroke((MARGIN, base - 6.8), (wide - MARGIN, base - 6.8)),),
    )


@functools.singledispatch
def _add_part(part: Part, design: Design, flow: Flow, cut: SlotsCut) -> None:
    """All of one part."""
    del design, flow, cut
    raise TypeError(type(part))


@_add_part.register(Nut)
def _add_nut(nut: Nut, design: Design, flow: Flow, cut: SlotsCut) -> None:
    bass_left = not design.job.left_handed
    slot = views.lowest(nut)
    words = f"along slot {slot.string} {slot.note}, the lowest"
    _add_views(
        flow,
        under(
            heading("Seen from the bridge", views.top_radius(nut.top)),
            views.nut_views(nut, bass_left),
            INDENT,
        ),
        _section(partial(views.nut_section, nut), words),
    )
    marks = [(s.string, s.centre, s.width) for s in nut.slots]
    _add_strip(flow, views.strip(nut.length, marks, bass_left, "nut"))
    head = heading("Slots by hand", "depths at the fingerboard side; files in inches")
    slots = slot_table(nut).pick(*SLOT_KEYS).shown_to(depth_front=3)
    flow.table(head, slots, SLOT_VIEWS)
    if design.edges:
        words = (
            f"the nut stands {design.stands_forward:.2f} mm forward; from and to from its left end"
        )
        steps = edge_table(nut, design.edges).pick(
            "name", "forward", "back", "left", "right", "bottom"
        )
        flow.table(heading("Front edges and the steps cut for them", words, flow.wide), steps, {})
    cards = [slot_card(c) for c in cards_of(design, nut, cut)]
    flow.rows(heading("A card for each slot", CARD_WORDS), cards, (WIDE, TALL))


@_add_part.register(Saddle)
def _add_saddle(saddle: Saddle, design: Design, flow: Flow, cut: SlotsCut) -> None:
    del cut
    bass_left = not design.job.left_handed
    seat = views.middle(saddle)
    _add_views(
        flow,
        under(
            heading("Seen from the tail", views.top_radius(saddle.top)),
            views.saddle_views(saddle, design.job.saddle.slot_depth, bass_left),
            INDENT,
        ),
        _section(partial(views.saddle_section, saddle), f"at string {seat.string} {seat.note}"),
    )
    marks = [(s.string, s.centre, 0.0) for s in saddle.strings]
    _add_strip(flow, views.strip(saddle.length, marks, bass_left, "saddle"))
    more = slant_words(saddle, design.job.saddle.front_at)
    said = "; ".join(("heights over the slot's floor at the ridge", *more))
    head = heading("Saddle by hand", said, flow.wide)
    flow.table(head, seat_table(saddle).pick(*SEAT_KEYS), SEAT_VIEWS)


def _add_views(flow: Flow, view: Drawing, section: Drawing) -> None:
    """The 1:1 views with the enlarged section beside them, or under them where they are long."""
    both = beside(view, section, flow.wide)
    for block in (view, section) if both is None else (both,):
        flow.add(block)


def _add_strip(flow: Flow, strip: Drawing) -> None:
    flow.add(under(heading("Marking-out strip", STRIP_WORDS), strip, INDENT))


def _section(draw: Callable[[float], Drawing], words: str) -> Drawing:
    """An enlarged section under its heading, as large as its room holds."""
    for by in (5.0, 4.0, 3.0, 2.0, 1.0):
        section = draw(by)
        left, _, right, _ = section.extent()
        if right - left <= SECTION[0] and height_of(section) <= SECTION[1]:
            break
    title = heading(f"Section {by:g}:1", words, SECTION[0])
    return under(title, section)


CARD_WORDS = (
    "at the front edge seen from the bridge, and along; heights over the seat in mm; to cut out"
)
LENGTH = ("mm", "in", SIXTY_FOURTHS)
SLOT_KEYS = (
    "name", "centre", "width", "file_start", "file_final", "rough_depth", "first_depth",
    "floor_front", "depth_front",
)  # fmt: skip
SLOT_VIEWS = {"centre": LENGTH, "rough_depth": LENGTH}
SEAT_KEYS = ("name", "centre", "top", "rough", "ridge_front", "setback", "residual")
SEAT_VIEWS = {"centre": LENGTH, "top": ("mm", "in")}
BLANK_VIEWS = dict.fromkeys(("have", "need", "difference"), ("mm", "in"))


def _add_rest(design: Design, notice: Sequence[str], flow: Flow) -> None:
    """Blanks, fits, cautions, the printer's check and the notice."""
    flow.go_on("blanks and cautions", AND_BLANKS)
    head = heading("Blanks", design.job.blanks.material)
    flow.table(head, blank_table(design.checks), BLANK_VIEWS)
    plots = cents.plots(design.strings)
    flow.rows(heading("Cents off at each fret", cents.WORDS, flow.wide), plots, cents.CELL)
    flow.words("Fits", [fit_words(p) for p in design.parts])
    flow.words("Cautions", list(design.cautions) or ["none"])
    flow.words("Check the printer first", table("sheet")["printer"])
    flow.words("How to use the sheet", table("sheet")["use"])
    flow.words("", notice)


def _rules(size: tuple[float, float]) -> Drawing:
    """The 100 mm and the 4 in rule at the foot of a page."""
    y = MARGIN + 9.5
    lines = [stroke((MARGIN, y), (MARGIN + 100.0, y))]
    for n in range(101):
        long = 4.5 if n % 10 == 0 else 3.2 if n % 5 == 0 else 2.0
        lines.append(stroke((MARGIN + n, y), (MARGIN + n, y + long)))
    for n in range(65):
        long = 4.5 if n % 16 == 0 else 3.2 if n % 8 == 0 else 2.4 if n % 4 == 0 else 1.6
        x = MARGIN + n * 25.4 / 16
        lines.append(stroke((x, y - 1.5), (x, y - 1.5 - long)))
    lines.append(stroke((MARGIN, y - 1.5), (MARGIN + 101.6, y - 1.5)))
    metric = [(n, "100 mm" if n == 100 else str(n)) for n in range(0, 101, 10)]
    words = [
        Words(at=(MARGIN + n, y + 5.2), text=text, height=PLAIN, anchor="middle")
        for n, text in metric
    ]
    words += [
        Words(at=(MARGIN + n * 25.4, y - 9.0), text=f"{n} in", height=PLAIN, anchor="middle")
        for n in range(5)
    ]
    said = broken(table("sheet")["foot"], PLAIN, size[0] - 2 * MARGIN - 112.0)
    words += [
        Words(at=(MARGIN + 112.0, y + 5.2 - i * LINE), text=line, height=PLAIN)
        for i, line in enumerate(said)
    ]
    return Drawing(paths=tuple(lines), words=tuple(words))
