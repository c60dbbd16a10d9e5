"""The preview page as one HTML text: no request, nothing but its own script and style may run.

What a job changes stands in blocks, elements known by their ids, and in values for the script; the
rest of a page, its frame, is the same for many jobs. While its job is watched, an open page takes
newer blocks and values into its frame, so that its pictures need not be built anew.
"""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources

from blankcam.faults import printable
from blankcam.preview import drawing, packing, plots
from blankcam.preview.html import data, el, length, render, void, words
from blankcam.preview.model import PageData
from blankcam.preview.section_svg import first_section, patterns, section_style, sheet
from blankcam.preview.setup_svg import setup_section
from blankcam.preview.values import page_values

VIEWS = (("corner", "Corner"), ("front", "Front"), ("top", "Top"), ("end", "End"))
OPEN = 4
"""Cautions that are not folded."""
STAGE = {"rough": "rough", "final": "finished"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Written:
    """A page's markup, its frame and what its job changes apart."""

    given: PageData
    blocks: Mapping[str, str]
    """The markup of each block by its element's id."""
    values: str
    """What the script needs besides, packed."""


def written(given: PageData) -> Written:
    """A page's blocks and values."""
    blocks = {name: "".join(block) for name, block in _blocks(given)}
    return Written(given=given, blocks=blocks, values=packing.of_json(page_values(given)))


def page(given: PageData) -> str:
    """The whole page; the same for the same data."""
    return whole(written(given))


def whole(page: Written) -> str:
    """A page that stands by itself."""
    given = page.given
    known = {"data_page": given.watch, "data_frame": _frame(given)} if given.watch else {}
    return _text(given, words(given.title), page.blocks, data(page.values), known)


def newer(page: Written) -> str:
    """A script that puts a page's blocks and values into an open page of the same frame."""
    given = page.given
    said = {
        "page": given.watch,
        "frame": _frame(given),
        "title": printable(given.title, 400),
        "blocks": page.blocks,
        "values": page.values,
    }
    return f"blankcam.watch.take({data(said)});\n"


def _frame(given: PageData) -> str:
    """What a frame is known by: the program's script and style, and the markup round the blocks."""
    return hashlib.sha256(_text(given, "", {}, "", {}).encode()).hexdigest()[:16]


def _text(
    given: PageData, title: str, blocks: Mapping[str, str], values: str, known: Mapping[str, str]
) -> str:
    script, style = _script(), _style()
    beside = " file:" if given.watch else ""  # the scripts that tell of a newer page and bring it
    policy = (
        f"default-src 'none'; script-src 'sha256-{_sha256(script)}'{beside}; "
        f"style-src 'sha256-{_sha256(style)}'; base-uri 'none'; form-action 'none'"
    )
    head = (
        '<meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{title}</title><style>{style}</style>"
    )
    line = el("p", id="watched", role="status", cls="watched", **known) if given.watch else ""
    body = (
        el("a", "To the contents", cls="skip", href="#main")
        + _header(given, blocks)
        + line
        + el("main", *_sections(given, blocks), id="main")
        + el("p", role="status", cls="away", id="said")
        + f'<script type="application/json" id="data">{values}</script>'
        + f"<script>{script}</script>"
    )
    return f'<!doctype html>\n<html lang="en"><head>{head}</head>\n<body>{body}</body></html>\n'


def _sha256(text: str) -> str:
    return base64.b64encode(hashlib.sha256(text.encode()).digest()).decode("ascii")


@cache
def _script() -> str:
    """The script's files in the order of their numbers, without what is for its readers alone."""
    folder = resources.files(__package__).joinpath("script")
    files = sorted((f for f in folder.iterdir() if f.name.endswith(".js")), key=lambda f: f.name)
    return "\n".join(_without_remarks(f.read_text(encoding="utf-8")) for f in files)


def _without_remarks(text: str) -> str:
    """A script without remarks that begin a line, without indents and empty lines."""
    bare = re.sub(
        r"^[ ]*(/\*(?:(?!\*/).)*\*/|//[^\n]*)[ ]*$", "", text, flags=re.DOTALL | re.MULTILINE
    )
    return "\n".join(filter(None, map(str.strip, bare.splitlines())))


@cache
def _style() -> str:
    folder = resources.files(__package__)
    names = ("style.css", "print.css")
    files = [folder.joinpath(n).read_text(encoding="utf-8") for n in names]
    return "\n".join([files[0], section_style(), *files[1:]])


def _header(given: PageData, blocks: Mapping[str, str]) -> str:
    first = "in" if given.units == "in" else "mm"
    units = el(
        "fieldset",
        el("legend", "Lengths in", cls="away"),
        *(
            el("label", _input("radio", name="unit", value=u, checked="" if u == first else None),
               el("span", u))
            for u in ("mm", "in")
        ),
        cls="switch",
    )  # fmt: skip
    return el(
        "header",
        el("div", blocks.get("name", ""), id="name"),
        el(
            "div",
            units,
            el("button", "Dark page", type="button", id="theme"),
            el("button", "Print", type="button", id="print"),
            cls="bar needs-script",
            hidden="",
        ),
    )


def _input(kind: str, **attributes: object) -> str:
    return void("input", type=kind, **attributes)


def _sections(given: PageData, blocks: Mapping[str, str]) -> Iterator[str]:
    yield patterns()
    aside = el("div", blocks.get("aside", ""), id="aside", cls="aside")
    yield el("div", aside, _solid(given), cls="first")
    yield from (_block(blocks, name) for name in ("slot", "instrument", "setups"))
    if given.programs or given.watch:
        yield _cut(blocks)
    yield from (_block(blocks, name) for name in ("drawings", "numbers"))


def _block(blocks: Mapping[str, str], name: str) -> str:
    return el("div", blocks.get(name, ""), id=name, cls="block")


def _blocks(given: PageData) -> Iterator[tuple[str, Iterator[str]]]:
    yield "name", iter((el("h1", words(given.title)), el("p", words(given.subtitle))))
    yield "aside", _aside(given)
    yield "slot", _slot(given)
    yield "instrument", _instrument(given)
    yield "setups", iter((setup_section(given.setups),))
    yield "cut-notice", _notice_lines(given)
    yield "program", _program_options(given)
    yield "drawings", _drawings(given)
    yield "numbers", _numbers(given)


def _aside(given: PageData) -> Iterator[str]:
    """Verdict, next step, what to mind, and the notice, folded."""
    head, _, found = given.verdict.partition(": ")
    yield el(
        "section",
        el("p", el("strong", words(head)), cls="head"),
        el("p", words(found[:1].upper() + found[1:], 1000)) if found else "",
        cls=f"verdict {_colour(given)}",
        aria_label="Verdict",
    )
    if given.refused:
        lines = (el("li", words(f, 1000)) for f in given.refused)
        yield el("section", el("h2", "Refused"), el("ul", *lines), cls="cautions refused")
    step = given.next_step
    yield el(
        "section",
        el("h2", "Next: ", _pieces(_lower(step.head))),
        el("p", _pieces(step.words)),
        cls="next",
    )
    if given.cautions:
        yield el("section", el("h2", "Mind this"), *_minded(given.cautions), cls="cautions")
    yield _notice(given)


def _minded(cautions: Sequence[str]) -> Iterator[str]:
    """The first cautions, and the others folded where they are many."""
    first = OPEN if len(cautions) > OPEN + 1 else len(cautions)
    shown, others = ([el("li", words(c, 1000)) for c in some]
                     for some in (cautions[:first], cautions[first:]))  # fmt: skip
    yield el("ul", *shown)
    if others:
        yield el("details", el("summary", f"{len(others)} more to mind"), el("ul", *others))


def _colour(given: PageData) -> str:
    if given.waiting:
        return "wait"
    return "good" if given.good else "bad"


def _lower(pieces: tuple[str | float, ...]) -> tuple[str | float, ...]:
    """The words after a colon, so without a capital."""
    first, *rest = pieces
    return (f"{first[:1].lower()}{first[1:]}" if isinstance(first, str) else first, *rest)


def _pieces(pieces: tuple[str | float, ...]) -> str:
    return "".join(
        words(p, 1000) if isinstance(p, str) else length(p, 3, unit=True) for p in pieces
    )


def _notice(given: PageData) -> str:
    """Folded beside the picture; a copy in full stands before the cut."""
    count = len(given.notice)
    summary = el("summary", f"Safety notice, {count} lines",
                 el("small", "eyes, lungs, hands clear, dry run first"))  # fmt: skip
    lines = el("ul", *_notice_lines(given))
    return el("details", summary, lines, cls="notice") if count else ""


def _notice_lines(given: PageData) -> Iterator[str]:
    return (el("li", words(line)) for line in given.notice)


def _views(prefix: str) -> str:
    buttons = (el("button", w, type="button", id=f"{prefix}-{n}") for n, w in VIEWS)
    return el("div", *buttons, cls="bar views", role="group", aria_label="View")


def _canvas(name: str, label: str) -> str:
    return el(
        "div",
        el("canvas", id=f"{name}-canvas", tabindex="0", role="application", aria_label=label,
           aria_describedby=f"{name}-help"),
        el("div", id=f"{name}-tags", cls="tags", aria_hidden="true"),
        cls="picture",
    )  # fmt: skip


def _solid(given: PageData) -> str:
    return el(
        "section",
        el("h2", "What will be made", cls="away"),
        *_unseen(),
        el(
            "div",
            el(
                "div",
                el("fieldset", el("legend", "Part", cls="away"), id="choose-part", cls="switch"),
                el("fieldset", el("legend", "Where", cls="away"), id="choose-where", cls="switch"),
                _views("view"),
                cls="bar top",
            ),
            _canvas("solid", _said_of_solid(given)),
            el("div", _strings_and_standing(), cls="under"),
            _more(),
            cls="needs-script picture-part solid",
            hidden="",
        ),
        cls="card",
    )


def _said_of_solid(given: PageData) -> str:
    parts = " and ".join(p.name for p in given.parts)
    return f"The {parts}, drawn as a solid that can be turned. Arrow keys turn it."


def _unseen() -> Iterator[str]:
    yield el(
        "p",
        "The pictures that turn, and choosing a string, need a newer browser than this, or one "
        "with WebGL 2 and DecompressionStream switched on. The drawings and tables below show the "
        "same parts.",
        id="no-picture",
        cls="remark",
        hidden="",
    )
    off = "Scripts are off: the drawings and tables below show the parts."
    yield f"<noscript><p>{off}</p></noscript>"


def _strings_and_standing() -> str:
    names = (el("span", name) for name in ("blank", "rough", "refit", "finished"))
    return el(
        "fieldset",
        el("legend", el("strong", "String"), el("small", " tap, or press its number", id="keys")),
        el("div", id="choose-string", cls="strings"),
    ) + el(
        "div",
        el("label", el("strong", "Before and after"), for_="standing"),
        _input("range", id="standing", min="0", max="3", step="1", value="1"),
        el("div", *names, cls="ticks", aria_hidden="true"),
        el("p", id="standing-words", cls="remark", aria_live="polite"),
        cls="standing",
    )


def _more() -> str:
    """What else the picture can show, how to read it, and how to turn it."""
    return el(
        "details",
        el("summary", "More of the picture: strings, cut open, deviation, keys"),
        _shown(),
        _legend(),
        el("p", "Nothing was replayed for this step, so there is no deviation to show.",
           id="no-deviation", cls="remark", hidden=""),
        el("div", id="readout", cls="readout", aria_live="polite"),
        '<template id="hint"><p class="here">Point at the picture for the height '
        'there.</p></template>',
        el("p", id="solid-source", cls="source"),
        el(
            "p",
            "Drag sideways to turn; a finger up or down scrolls the page. Drag with Shift or two "
            "fingers to shift; tap the picture first and the wheel or a pinch zooms. Keys: arrows "
            "turn, Shift and arrows shift, + and − zoom, a string's number goes to its slot, Home "
            "goes back.",
            id="solid-help",
            cls="help",
        ),
        cls="more",
    )  # fmt: skip


def _shown() -> str:
    """What the picture shows, and on which scale."""
    spans = (el("option", f"±{n} µm", value=n, selected="" if n == 20 else None)
             for n in (5, 20, 50, 200))  # fmt: skip
    return el(
        "div",
        el("label", _input("checkbox", id="strings", checked=""), "Strings"),
        el("label", _input("checkbox", id="opened", checked=""), "Cut open at the chosen slot"),
        el("label", _input("checkbox", id="deviation"), "Colour by deviation"),
        el("label", "Scale ", el("select", *spans, id="span")),
        cls="bar",
    )


def _legend() -> str:
    """The colours of the deviation."""
    return el(
        "div",
        el("canvas", width="416", height="18", aria_hidden="true"),
        el("div", *(el("span") for _ in range(5)), cls="ticks"),
        el("div", el("span", "too deep, µm"), el("span", "as wanted"),
           el("span", "left standing, µm"), cls="ends"),
        el("p", "Hatched: more than the proof allows.", cls="remark"),
        id="legend",
        hidden="",
    )  # fmt: skip


def _slot(given: PageData) -> Iterator[str]:
    """The chosen string's slot, cut along and across, with its numbers."""
    if not given.sections:
        return
    first = given.sections[0]
    along, across = first_section(first, given.standings[0])
    yield el(
        "section",
        el("h2", "The slot of string ",
           el("span", words(f"{first.slot.string}, {first.slot.note}"), id="slot-string")),
        el("p", id="slot-stage", cls="stage"),
        el(
            "div",
            el("figure", el("div", along, id="slot-along", cls="paper"),
               el("figcaption", "Along: cut at the slot’s middle, seen from the "
                  f"{_near_end(given)} side")),
            el("figure", el("div", across, id="slot-across", cls="paper"),
               el("figcaption", el("span", "Across: cut at the front edge, seen from the bridge; "
                  'heights in <span class="unit">mm</span> over the seat, at the slot’s middle'))),
            cls="sections",
        ),
        el("p", el("span", cls="swatch stays"), " stays ", el("span", cls="swatch goes"),
           " goes, from the step chosen above ", el("span", cls="swatch come"),
           " string not in its place yet", cls="remark key"),
        el("div", id="slot-facts", cls="facts"),
        cls="card slot",
    )  # fmt: skip


SEATS = {
    "nut": "The nut in its seat, along the string: true proportions; the strip below stretches its "
    "heights. Head and neck are drawn for their place only.",
    "saddle": "The saddle in its bridge, along the string: true proportions, fret 12 beside it. "
    "The bridge is drawn for its place only.",
    "plan": "The saddle from above. Figures: compensation, from the line of the scale to the "
    'ridge, <span class="unit">mm</span>.',
}


def _instrument(given: PageData) -> Iterator[str]:
    """Both parts where they work, with the clearances over the frets."""
    firsts = {s.kind: s for s in reversed(given.seats)}
    figures = [
        el("figure",
           el("div", sheet(firsts[kind].layouts["wide"], firsts[kind].name), id=f"seat-{kind}",
              cls="paper"),
           el("figcaption", el("span", said)))
        for kind, said in SEATS.items() if kind in firsts
    ]  # fmt: skip
    string = next(s.string for s in given.seats if s.string is not None)
    head = el("h2", "In the instrument, along string ", el("span", str(string), id="seat-string"))
    yield el("section", head, el("div", *figures, cls="sections"), cls="card slot instrument")


def _near_end(given: PageData) -> str:
    return "bass" if given.sections[0].bass_left else "treble"


def _cut(blocks: Mapping[str, str]) -> str:
    """The programs replayed: the stock and the tool on the left, what is said of them beside."""
    return el(
        "section",
        el("h2", "The cut as it happens"),
        el("div", el("strong", "Before you cut"),
           el("ul", blocks.get("cut-notice", ""), id="cut-notice"), cls="notice full"),
        el("div", el("label", "Program ", el("select", blocks.get("program", ""), id="program")),
           _views("cut"), cls="bar"),
        el("div", _player(), _moment(), cls="player"),
        el(
            "p",
            "As it lies in the machine. Stock is worked out on a coarse grid here; the proof used "
            "a finer one.",
            id="cut-help",
            cls="help",
        ),
        id="cut",
        cls="needs-script picture-part card cut",
        hidden="",
    )  # fmt: skip


def _program_options(given: PageData) -> Iterator[str]:
    for i, p in enumerate(given.programs):
        stage = "" if "," in p.file else f", {STAGE[p.stage]}"
        yield el("option", f"{words(p.file)}{stage}, on {p.setup}", value=i)


def _player() -> str:
    """The picture, the time in the program, and what steers it."""
    speeds = (el("option", f"{n} times", value=n, selected="" if n == 20 else None)
              for n in (1, 5, 20, 100))  # fmt: skip
    return el(
        "div",
        _canvas("cut", "The stock and the tool at this moment. Arrow keys turn it."),
        el("label", "Time in the program", cls="away", for_="scrub"),
        _input("range", id="scrub", min="0", max="1", step="any", value="0"),
        el("div", id="track", cls="track", aria_hidden="true"),
        el(
            "div",
            el("button", "Play", type="button", id="play"),
            el("button", "Line back", type="button", id="line-back"),
            el("button", "Line on", type="button", id="line-on"),
            el("button", "To the end", type="button", id="to-end"),
            el("label", "Speed ", el("select", *speeds, id="speed")),
            cls="bar",
        ),
        el("ol", id="chapters", aria_label="Operations"),
    )


def _moment() -> str:
    """What happens at this moment, and the program's text."""
    return el(
        "div",
        el("p", el("strong", id="time"), " (an estimate)", cls="now"),
        el("p", id="doing", cls="now"),
        el("p", id="tool", cls="now"),
        el("p", id="held", cls="now"),
        el("p", el("strong", id="line"), " ", el("span", id="meaning"), cls="now"),
        el("div", id="listing", tabindex="0", role="region", aria_label="Program text"),
        el("div",
           el("label", _input("checkbox", id="follow", checked=""), "Follow the tool"),
           el("label", _input("checkbox", id="show-path", checked=""), "Path so far"),
           el("label", _input("checkbox", id="show-held", checked=""), "What holds it"),
           cls="shown"),
        el("p", el("span", cls="key-line feed"), " at feed, ",
           el("span", cls="key-line rapid"), " rapid", cls="remark"),
    )  # fmt: skip


def _drawings(given: PageData) -> Iterator[str]:
    named = {t.table.key: t for t in given.tables if t.table}
    yield el("h2", "Drawings and numbers", cls="drawn-head")
    for view in given.elevations:
        yield el(
            "figure",
            el("figcaption", el("h3", f"{view.part.capitalize()}, seen from the bridge")),
            el("div", drawing.elevation(view, given.blanks.get(view.part)), cls="drawing",
               tabindex="0", role="region",
               aria_label=f"{view.part.capitalize()}, elevation"),
            el("p", "The whole line is the finished top, the dashed line the rough one.",
               cls="remark"),
            *(el("p", words(f"Refused: {f}", 1000), cls="remark refused")
              for f in _of_part(given, view.part)),
            el("div", id=f"facts-{view.part}", cls="facts", aria_live="polite"),
            cls=f"elevation {view.part}",
        )  # fmt: skip
        if view.part == "nut":
            yield render(named["nut"])
    pair = [render(named[key]) for key in ("saddle", "blanks") if key in named]
    yield el("div", *pair, cls="pair")
    side, factor = plots.side(given.side)
    yield el("h2", "The string path from the side", cls="side-head")
    yield el(
        "figure",
        el("fieldset", el("legend", "String"), id="choose-side", hidden="", cls="bar"),
        el("div", side, cls="drawing", tabindex="0", role="region", aria_label="String path"),
        el(
            "p",
            f"Heights are drawn {factor:.0f} times as large as lengths, the relief of "
            f"{length(given.side.relief, 2, unit=True)} with them. The thin dashed line is a "
            "straightedge on the frets; the numbers are clearances over each fret.",
            cls="remark",
        ),
        cls="side-figure",
    )


def _of_part(given: PageData, part: str) -> list[str]:
    """What is refused of a part: every line that names it, or that names no part at all."""
    others = {e.part for e in given.elevations} - {part}
    return [f for f in given.refused if part in f or not any(o in f for o in others)]


def _numbers(given: PageData) -> Iterator[str]:
    plotted = (
        el(
            "figure",
            el("figcaption", el("h3", words(p.caption))),
            el("div", plots.plot(p), cls="drawing", tabindex="0", role="region",
               aria_label=p.caption),
            cls=f"plot {p.key}",
        )
        for p in given.plots
    )  # fmt: skip
    yield el("div", *plotted, cls="two")
    shown = {"blanks", *(e.part for e in given.elevations)}
    others = (render(t) for t in given.tables if t.table and t.table.key not in shown)
    yield el("div", *others, cls="others")
