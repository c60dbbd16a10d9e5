"""The 1:1 sheet for the bench, as PDF or SVG.

Page 1 the nut, page 2 the saddle, then blanks, printer check, cautions and the notice. Every page
carries a 100 mm and a 4 in rule.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import partial

from blankcam.data import table
from blankcam.outputs.drawing import Drawing, Words, joined, stroke
from blankcam.outputs.drawings import cents, views
from blankcam.outputs.render import ruled
from blankcam.outputs.render.ruled import SIXTY_FOURTHS
from blankcam.outputs.rows import Table
from blankcam.outputs.tables.blanks import blank_table, fit_words
from blankcam.outputs.tables.nut import slot_table
from blankcam.outputs.tables.saddle import seat_table, slant_words
from blankcam.outputs.typeface import width
from blankcam.parts.design import Design
from blankcam.parts.nut import Nut
from blankcam.parts.part import Part
from blankcam.parts.saddle import Saddle
from blankcam.parts.slot import Slot

PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}  # ISO 216; ANSI/ASME Y14.1 size A
MARGIN = 12.0
SMALL, PLAIN, HEAD, TITLE = 1.7, 1.9, 2.3, 3.5  # heights of capitals, mm
FOOT = 27.0  # kept free at the bottom for the rules
COLUMN = 68.0  # width of the right column
STRIP_WORDS = "cut out, glue to the face seen, upper edges together; mm from the left end"
BESIDE = 92.0  # longest part that leaves room for a section beside it


def pdf(design: Design, *, notice: Sequence[str], paper: str = "A4") -> bytes:
    """The sheet as PDF, at 1:1 when printed at 100 %; the same job gives the same bytes.

    Parameters
    ----------
    notice : lines of caution, printed on the last page
    paper : ``A4`` or ``Letter``
    """
    from blankcam.outputs.render import pdf as backend

    return backend.render(pages(design, notice, paper), PAPERS[paper], _name(design))


def svg(design: Design, *, notice: Sequence[str], paper: str = "A4") -> tuple[bytes, ...]:
    """The sheet as SVG, a file a page."""
    from blankcam.outputs.render import svg as backend

    name = _name(design)
    return tuple(
        backend.render(page, PAPERS[paper], f"{name} {i}")
        for i, page in enumerate(pages(design, notice, paper), start=1)
    )


def pages(design: Design, notice: Sequence[str], paper: str) -> tuple[Drawing, ...]:
    """The pages; the lower left corner of the paper is the origin, mm."""
    size = PAPERS[paper]
    last = _last_pages(design, notice, size)
    of_parts = [_part_page(part, design, size) for part in design.parts]
    made = (*of_parts, *last)
    names = (*(part.name for part in design.parts), *("blanks and cautions" for _ in last))
    return tuple(
        joined((page, _head(design, name, (i, len(made)), size), _rules(size)))
        for i, (name, page) in enumerate(zip(names, made, strict=True), start=1)
    )


def _name(design: Design) -> str:
    return f"{design.job.instrument.name} - {design.part_names}"


def _head(design: Design, part: str, number: tuple[int, int], size: tuple[float, float]) -> Drawing:
    job, (wide, tall) = design.job, size
    facts = (
        f"{job.instrument.kind}, {job.instrument.handed}-handed, scale "
        f"{job.instrument.scale:.1f} mm; {job.blanks.material}; job {job.digest}"
    )
    room = wide - 2 * MARGIN
    return Drawing(
        words=(
            Words(
                at=(MARGIN, tall - MARGIN - TITLE),
                text=_cut(f"{job.instrument.name}: {part}", TITLE, room - 22.0, bold=True),
                height=TITLE,
                bold=True,
            ),
            Words(
                at=(wide - MARGIN, tall - MARGIN - TITLE),
                text=f"{number[0]} of {number[1]}",
                height=PLAIN,
                anchor="right",
            ),
            Words(
                at=(MARGIN, tall - MARGIN - TITLE - 4.2),
                text=_cut(f"1:1, millimetres, first-angle; {facts}", SMALL, room),
                height=SMALL,
            ),
        ),
        paths=(stroke((MARGIN, tall - MARGIN - 10.0), (wide - MARGIN, tall - MARGIN - 10.0)),),
    )


def _top(size: tuple[float, float]) -> float:
    """Where a page's content begins."""
    return size[1] - MARGIN - 13.0


@functools.singledispatch
def _part_page(part: Part, design: Design, size: tuple[float, float]) -> Drawing:
    """The page of one part."""
    del design, size
    raise TypeError(type(part))


@_part_page.register(Nut)
def _nut_page(nut: Nut, design: Design, size: tuple[float, float]) -> Drawing:
    bass_left = not design.job.left_handed
    y = _top(size)
    parts: list[Drawing] = []
    view = views.nut_views(nut, bass_left)
    y = _under(parts, y, view, _title("Seen from the bridge", views.top_radius(nut.top)))
    marks = [(s.string, s.centre, s.width) for s in nut.slots]
    band = views.strip(nut.length, marks, bass_left, "nut")
    y = _under(parts, y, band, _title("Marking-out strip", STRIP_WORDS))
    low = y
    y = _cells(parts, y, nut, size)
    head = _title("Slots by hand", "depths at the fingerboard side; files in inches")
    y = _table(parts, y, head, slot_table(nut).pick(*SLOT_KEYS), SLOT_VIEWS)
    slot = views.lowest(nut)
    words = f"along slot {slot.string} {slot.note}, the lowest"
    at, low = _section_at(nut, size, low, y)
    parts.append(_section(partial(views.nut_section, nut), at, low, words))
    return joined(parts)


@_part_page.register(Saddle)
def _saddle_page(saddle: Saddle, design: Design, size: tuple[float, float]) -> Drawing:
    bass_left = not design.job.left_handed
    y = _top(size)
    parts: list[Drawing] = []
    view = views.saddle_views(saddle, design.job.saddle.slot_depth, bass_left)
    y = _under(parts, y, view, _title("Seen from the tail", views.top_radius(saddle.top)))
    marks = [(s.string, s.centre, 0.0) for s in saddle.strings]
    band = views.strip(saddle.length, marks, bass_left, "saddle")
    y = _under(parts, y, band, _title("Marking-out strip", STRIP_WORDS))
    low = y
    more = slant_words(saddle, design.job.saddle.front_at)
    head = _title(
        "Saddle by hand", "; ".join(("heights over the slot's floor at the ridge", *more))
    )
    y = _table(parts, y, head, seat_table(saddle).pick(*SEAT_KEYS), SEAT_VIEWS)
    seat = views.middle(saddle)
    at, low = _section_at(saddle, size, low, y)
    words = f"at string {seat.string} {seat.note}"
    parts.append(_section(partial(views.saddle_section, saddle), at, low, words))
    return joined(parts)


def _title(text: str, more: str = "") -> Drawing:
    """A heading, its left end at the origin."""
    after = width(text, HEAD, bold=True) + 3.0
    words = [Words(at=(0.0, 0.0), text=text, height=HEAD, bold=True)]
    if more:
        words.append(Words(at=(after, 0.0), text=more, height=SMALL))
    return Drawing(words=tuple(words))


def _reach(drawing: Drawing) -> tuple[float, float]:
    """Lowest and highest of paths and words."""
    _, low, _, high = drawing.bounds()
    for w in drawing.words:
        tall = width(w.text, w.height) if w.turn else w.height
        low, high = min(low, w.at[1]), max(high, w.at[1] + tall)
    return low, high


def _under(parts: list[Drawing], y: float, view: Drawing, title: Drawing) -> float:
    """Put a heading and a view below y; returns where the next begins."""
    low, high = _reach(view)
    parts.append(title.moved(MARGIN, y - HEAD))
    foot = y - HEAD - 2.5 - high
    parts.append(view.moved(MARGIN + 15.0, foot))
    return foot + low - 5.0


def _section(
    draw: Callable[[float], Drawing], at: tuple[float, float], low: float, words: str
) -> Drawing:
    """An enlarged section, its upper left corner ``at``, as large as fits above ``low``."""
    x, y = at
    for by in (5.0, 4.0, 3.0, 2.0, 1.0):
        section = draw(by)
        left, _, right, _ = section.bounds()
        foot, head = _reach(section)
        if right - left <= COLUMN - 20.0 and head - foot <= y - low - HEAD - 8.0:
            break
    title = Drawing(
        words=(
            Words(at=(0.0, 0.0), text=f"Section {by:g}:1", height=HEAD, bold=True),
            Words(at=(0.0, -3.4), text=words, height=SMALL),
        )
    )
    placed = section.moved(x + 14.0 - left, y - HEAD - 6.0 - head)
    return joined((title.moved(x, y - HEAD), placed))


def _section_at(
    part: Part, size: tuple[float, float], low: float, under: float
) -> tuple[tuple[float, float], float]:
    """Where a part's section goes and how far down it may reach: beside short parts' views."""
    if part.length <= BESIDE:
        return (size[0] - MARGIN - COLUMN, _top(size)), low
    return (MARGIN, under), MARGIN + FOOT


def _cells(parts: list[Drawing], y: float, nut: Nut, size: tuple[float, float]) -> float:
    """The enlarged slots in rows."""
    room = size[0] - 2 * MARGIN
    widest = max(s.width for s in nut.slots)
    pitch = min(max(room / len(nut.slots), widest * views.LARGE + 5.0), 30.0)
    row = max(1, int(room / pitch + 1e-9))
    tall = views.cell_height(nut)
    parts.append(
        _title(
            "Slots at the fingerboard side, 5:1", "w width, d depth under the finished top"
        ).moved(MARGIN, y - HEAD)
    )
    y -= HEAD + 2.0
    for first in range(0, len(nut.slots), row):
        y -= tall
        for i, slot in enumerate(_from_left(nut)[first : first + row]):
            cell = views.slot_cell(nut, slot, pitch - 3.5)
            parts.append(cell.moved(MARGIN + pitch * (i + 0.5), y))
        y -= 9.5
    return y - 4.0


def _from_left(nut: Nut) -> list[Slot]:
    """Slots as they stand on the paper."""
    return sorted(nut.slots, key=lambda s: s.centre)


LENGTH = ("mm", "in", SIXTY_FOURTHS)
SLOT_KEYS = (
    "name", "centre", "width", "file_start", "file_final", "rough_depth", "first_depth",
    "floor_front", "depth_front",
)  # fmt: skip
SLOT_VIEWS = {"centre": LENGTH, "rough_depth": LENGTH}
SEAT_KEYS = ("name", "centre", "top", "rough", "ridge_front", "setback", "residual")
SEAT_VIEWS = {"centre": LENGTH, "top": ("mm", "in")}
BLANK_VIEWS = dict.fromkeys(("have", "need", "difference"), ("mm", "in"))


def _table(
    parts: list[Drawing], y: float, head: Drawing, table: Table, views: Mapping[str, Sequence[str]]
) -> float:
    """A table under its heading; returns where the next begins."""
    parts.append(head.moved(MARGIN, y - HEAD))
    drawn = ruled.render(table, views)
    parts.append(drawn.moved(MARGIN, y - HEAD - 2.0))
    return y - HEAD - 2.0 + drawn.bounds()[1] - 5.0


def _last_pages(design: Design, notice: Sequence[str], size: tuple[float, float]) -> list[Drawing]:
    """Blanks, fits, cautions, the printer's check and the notice, on as many pages as they take."""
    parts: list[Drawing] = []
    head = _title("Blanks", design.job.blanks.material)
    y = _table(parts, _top(size), head, blank_table(design.checks), BLANK_VIEWS)
    y = _cents(parts, y, design)
    done = [joined(parts)]
    blocks = (
        ("Fits", [fit_words(p) for p in design.parts]),
        ("Cautions", list(design.cautions) or ["none"]),
        ("Check the printer first", table("sheet")["printer"]),
        ("How to use the sheet", table("sheet")["use"]),
        ("", notice),
    )
    for head_words, lines in blocks:
        y = _lines(done, y, head_words, lines, size)
    return done


def _cents(parts: list[Drawing], y: float, design: Design) -> float:
    """Every string's errors at the frets; returns where the next begins."""
    drawn, deep = cents.plots(design.strings)
    parts.append(_title("Cents off at each fret", cents.WORDS).moved(MARGIN, y - HEAD))
    parts.append(drawn.moved(MARGIN, y - HEAD - 3.0))
    return y - HEAD - 3.0 - deep


def _lines(
    done: list[Drawing], y: float, head: str, lines: Sequence[str], size: tuple[float, float]
) -> float:
    """A heading and paragraphs on the last page, going on to a new one where it is full."""
    pieces = [p for line in lines for p in _broken(line, PLAIN, size[0] - 2 * MARGIN)]
    least = MARGIN + FOOT
    if y - HEAD - 2 * (PLAIN + 1.4) < least:
        done.append(Drawing())
        y = _top(size)
    words = []
    if head:
        words.append(Words(at=(MARGIN, y - HEAD), text=head, height=HEAD, bold=True))
        y -= HEAD + 1.2
    for piece in pieces:
        if y - PLAIN - 1.4 < least:
            done[-1] = joined((done[-1], Drawing(words=tuple(words))))
            done.append(Drawing())
            words, y = [], _top(size)
        y -= PLAIN + 1.4
        words.append(Words(at=(MARGIN, y), text=piece, height=PLAIN))
    done[-1] = joined((done[-1], Drawing(words=tuple(words))))
    return y - 5.0


def _broken(text: str, height: float, room: float) -> Iterator[str]:
    """A paragraph as lines no wider than the room."""
    line = ""
    for word in text.split():
        longer = f"{line} {word}".strip()
        if line and width(longer, height) > room:
            yield _cut(line, height, room)
            longer = word
        line = longer
    yield _cut(line, height, room)


def _cut(text: str, height: float, room: float, *, bold: bool = False) -> str:
    """Text shortened to a room."""
    text = text[:300]
    if width(text, height, bold=bold) <= room:
        return text
    while text and width(text + "...", height, bold=bold) > room:
        text = text[:-1]
    return text + "..."


def _rules(size: tuple[float, float]) -> Drawing:
    """The 100 mm and the 4 in rule at the foot of a page."""
    y = MARGIN + 9.0
    top = [stroke((MARGIN, y), (MARGIN + 100.0, y))]
    for n in range(101):
        long = 4.5 if n % 10 == 0 else 3.2 if n % 5 == 0 else 2.0
        top.append(stroke((MARGIN + n, y), (MARGIN + n, y + long)))
    for n in range(65):
        long = 4.5 if n % 16 == 0 else 3.2 if n % 8 == 0 else 2.4 if n % 4 == 0 else 1.6
        x = MARGIN + n * 25.4 / 16
        top.append(stroke((x, y - 1.5), (x, y - 1.5 - long)))
    top.append(stroke((MARGIN, y - 1.5), (MARGIN + 101.6, y - 1.5)))
    numbers = [(n, y + 5.2) for n in range(0, 101, 10)]
    words = [
        Words(at=(MARGIN + n, at), text=str(n), height=1.4, anchor="middle") for n, at in numbers
    ]
    words += [
        Words(at=(MARGIN + n * 25.4, y - 8.2), text=f"{n} in", height=1.4, anchor="middle")
        for n in range(5)
    ]
    words[10] = Words(at=(MARGIN + 100.0, y + 5.2), text="100 mm", height=1.4, anchor="middle")
    lines = list(_broken(table("sheet")["foot"], SMALL, size[0] - 2 * MARGIN - 112.0))
    words += [
        Words(at=(MARGIN + 110.0, y + 4.0 - i * 3.1), text=line, height=SMALL)
        for i, line in enumerate(lines)
    ]
    return Drawing(paths=tuple(top), words=tuple(words))
