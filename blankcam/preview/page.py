"""The preview page as one HTML text: no request, nothing but its own script and style may run."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterator
from importlib import resources
from typing import Any

from blankcam.preview import drawing, packing, plots
from blankcam.preview.html import data, el, length, render, void, words
from blankcam.preview.model import PageData, PartView, ProgramView, Spot, StageView

VIEWS = (("corner", "Corner"), ("front", "Front"), ("top", "Top"), ("end", "End"))
STAGE = {"rough": "rough", "final": "finished"}


def page(given: PageData) -> str:
    """The whole page; the same for the same data."""
    script, style = _script(), _style()
    policy = (
        f"default-src 'none'; script-src 'sha256-{_sha256(script)}'; "
        f"style-src 'sha256-{_sha256(style)}'; base-uri 'none'; form-action 'none'"
    )
    head = (
        '<meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{words(given.title)}</title><style>{style}</style>"
    )
    body = (
        el("a", "To the contents", cls="skip", href="#main")
        + _header(given)
        + el("main", *_sections(given), id="main")
        + el("p", role="status", cls="away", id="said")
        + f'<script type="application/json" id="data">{data(_data(given))}</script>'
        + f"<script>{script}</script>"
    )
    return f'<!doctype html>\n<html lang="en"><head>{head}</head>\n<body>{body}</body></html>\n'


def _sha256(text: str) -> str:
    return base64.b64encode(hashlib.sha256(text.encode()).digest()).decode("ascii")


def _script() -> str:
    """The script's files in the order of their numbers."""
    folder = resources.files(__package__).joinpath("script")
    files = sorted((f for f in folder.iterdir() if f.name.endswith(".js")), key=lambda f: f.name)
    return "\n".join(f.read_text(encoding="utf-8") for f in files)


def _style() -> str:
    folder = resources.files(__package__)
    names = ("style.css", "print.css")
    return "\n".join(folder.joinpath(n).read_text(encoding="utf-8") for n in names)


def _header(given: PageData) -> str:
    units = el(
        "fieldset",
        el("legend", "Lengths in"),
        *(
            el("label", _input("radio", name="unit", value=u, checked="" if u == "mm" else None), u)
            for u in ("mm", "in")
        ),
    )
    return el(
        "header",
        el("div", el("h1", words(given.title)), el("p", words(given.subtitle))),
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


def _sections(given: PageData) -> Iterator[str]:
    yield el("p", words(given.verdict, 1000), cls=f"verdict {'good' if given.good else 'bad'}")
    if given.cautions:
        items = (el("li", words(c, 1000)) for c in given.cautions)
        yield el("section", el("h2", "Mind this"), el("ul", *items), cls="cautions",
                 aria_label="Cautions")  # fmt: skip
    yield _notice(given)
    yield el(
        "p",
        "The pictures that turn need a browser with WebGL 2 and scripts. The drawings and tables "
        "below show the same parts.",
        id="no-picture",
        cls="remark",
        hidden="",
    )
    yield "<noscript><p>Scripts are off: the drawings and tables below show the parts.</p></noscript>"
    yield _solid()
    if given.programs:
        yield _cut(given)
    yield from _drawings(given)
    yield from _numbers(given)


def _notice(given: PageData) -> str:
    items = (el("li", words(line)) for line in given.notice)
    return el("details", el("summary", "Before you cut"), el("ul", *items), cls="notice", open="")


def _views(prefix: str) -> str:
    buttons = (el("button", w, type="button", id=f"{prefix}-{n}") for n, w in VIEWS)
    return el("div", *buttons, cls="bar", role="group", aria_label="View")


def _canvas(name: str, label: str) -> str:
    return el(
        "div",
        el("canvas", id=f"{name}-canvas", tabindex="0", role="application", aria_label=label,
           aria_describedby=f"{name}-help"),
        cls="picture",
    )  # fmt: skip


def _solid() -> str:
    spans = (el("option", f"±{n} µm", value=n, selected="" if n == 20 else None)
             for n in (5, 20, 50, 200))  # fmt: skip
    return el(
        "section",
        el("h2", "What will be made"),
        el(
            "div",
            el("fieldset", el("legend", "Part"), id="choose-part"),
            el("fieldset", el("legend", "Stage"), id="choose-stage"),
            _views("view"),
            cls="bar",
        ),
        _canvas("solid", "The part as a solid. Arrow keys turn it."),
        el("div", el("span", "Slots", id="spots-name"), el("div", id="spots"), cls="bar"),
        el("div", id="readout", cls="readout", aria_live="polite"),
        '<template id="hint"><p class="here">Point at a slot, tap it or choose it above for its '
        "numbers.</p></template>",
        el(
            "div",
            el("label", _input("checkbox", id="strings", checked=""), "Strings in place"),
            el("label", _input("checkbox", id="deviation"), "Colour by deviation"),
            el("label", "Scale ", el("select", *spans, id="span")),
            cls="bar",
        ),
        el(
            "div",
            el("canvas", width="416", height="18", aria_hidden="true"),
            el("div", *(el("span") for _ in range(5)), cls="ticks"),
            el("div", el("span", "too deep, µm"), el("span", "as wanted"),
               el("span", "left standing, µm"), cls="ends"),
            el("p", "Hatched: more than the proof allows.", cls="remark"),
            id="legend",
            hidden="",
        ),
        el("p", "Nothing was replayed for this stage, so there is no deviation to show.",
           id="no-deviation", cls="remark", hidden=""),
        el("p", id="solid-source", cls="source"),
        el(
            "p",
            "Drag to turn, drag with Shift or two fingers to shift, click or tap the picture first and "
            "the wheel or a pinch zooms. Keys: arrows turn, Shift and arrows shift, + and − zoom, "
            "Home goes back.",
            id="solid-help",
            cls="help",
        ),
        cls="needs-script picture-part solid",
        hidden="",
    )  # fmt: skip


def _cut(given: PageData) -> str:
    options = (
        el(
            "option",
            f"{words(p.file)}{'' if ',' in p.file else ', ' + STAGE[p.stage]}, on {p.setup}",
            value=i,
        )
        for i, p in enumerate(given.programs)
    )
    speeds = (el("option", f"{n} times", value=n, selected="" if n == 20 else None)
              for n in (1, 5, 20, 100))  # fmt: skip
    return el(
        "section",
        el("h2", "The cut as it happens"),
        el("div", el("label", "Program ", el("select", *options, id="program")), _views("cut"),
           cls="bar"),
        el(
            "div",
            el(
                "div",
                _canvas("cut", "The stock and the tool at this moment. Arrow keys turn it."),
                el("label", "Time in the program", cls="away", for_="scrub"),
                _input("range", id="scrub", min="0", max="1", step="any", value="0"),
                el(
                    "div",
                    el("button", "Play", type="button", id="play"),
                    el("button", "Line back", type="button", id="line-back"),
                    el("button", "Line on", type="button", id="line-on"),
                    el("button", "To the end", type="button", id="to-end"),
                    el("label", "Speed ", el("select", *speeds, id="speed")),
                    cls="bar",
                ),
            ),
            el(
                "div",
                el("p", el("strong", id="time"), " (an estimate)", cls="now"),
                el("p", id="tool", cls="now"),
                el("p", id="line", cls="now"),
                el("div", id="listing", tabindex="0", role="region", aria_label="Program text"),
                el("div",
                   el("label", _input("checkbox", id="show-path", checked=""), "Path so far"),
                   el("label", _input("checkbox", id="show-held", checked=""), "What holds it"),
                   cls="shown"),
                el("p", el("span", cls="key-line feed"), " at feed, ",
                   el("span", cls="key-line rapid"), " rapid", cls="remark"),
            ),
            cls="player",
        ),
        el(
            "p",
            "As it lies in the machine. Stock is reckoned on a coarse grid here; the proof used a "
            "finer one.",
            id="cut-help",
            cls="help",
        ),
        cls="needs-script picture-part cut",
        hidden="",
    )  # fmt: skip


def _drawings(given: PageData) -> Iterator[str]:
    named = {t.table.key: t for t in given.tables if t.table}
    yield el("h2", "Drawings and numbers", cls="drawn-head")
    for view in given.elevations:
        yield el(
            "figure",
            el("figcaption", el("h3", f"{view.part.capitalize()}, seen from the bridge")),
            el("div", drawing.elevation(view), cls="drawing", tabindex="0", role="region",
               aria_label=f"{view.part.capitalize()}, elevation"),
            el("p", "The whole line is the finished top, the dashed line the rough one.",
               cls="remark"),
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


def _data(given: PageData) -> dict[str, Any]:
    """What the script needs besides the markup."""
    return {
        "limits": list(given.limits_um),
        "stage": next((p.stage for p in given.programs), "final"),
        "parts": [_part(p) for p in given.parts],
        "programs": [_program(p) for p in given.programs],
        "side": [[s.string, _plain(s.note)] for s in given.side.strings],
    }


def _plain(text: str) -> str:
    """Job words for the script, which sets them as text: controls shown, nothing escaped."""
    from blankcam.faults import printable

    return printable(text, 200)


def _part(p: PartView) -> dict[str, Any]:
    return {
        "name": p.name,
        "words": p.name.capitalize(),
        "spots": [_spot(s) for s in p.spots],
        "strings": [
            {"gauge": s.gauge, "wound": s.wound, "raised": s.raised,
             "points": [[round(float(c), 4) for c in point] for point in s.points]}
            for s in p.strings
        ],
        "stages": [_stage(s) for s in p.stages],
    }  # fmt: skip


def _spot(s: Spot) -> dict[str, Any]:
    facts = [{"words": f.words, "value": round(f.value, 5), "unit": f.unit, "digits": f.digits}
             for f in s.facts]  # fmt: skip
    return {"string": s.string, "note": _plain(s.note), "x": s.x, "half": s.half_width,
            "facts": facts, "remark": _plain(s.remark)}  # fmt: skip


def _stage(s: StageView) -> dict[str, Any]:
    said = (
        "These are the heights that the replay of the programs left."
        if s.replayed
        else "This is the shape that is wanted: no program was replayed for this stage."
    )
    return {
        "stage": s.stage,
        "words": f"{said} {s.remark}".strip(),
        "heights": packing.of_heights(s.heights),
        "deviation": None if s.deviation is None else packing.of_deviation(s.deviation),
    }


def _program(p: ProgramView) -> dict[str, Any]:
    return {
        "file": p.file,
        "part": p.part,
        "setup": p.setup,
        "top": p.stock_top,
        "bottom": p.stock_bottom,
        "tools": [
            {"number": t.number, "shape": t.shape, "diameter": t.diameter, "tip": t.tip_diameter,
             "angle": t.angle, "flute": t.flute_length, "out": t.stick_out, "shank": t.shank,
             "words": _plain(t.words)}
            for t in p.tools
        ],
        "path": packing.of_path(p.path),
        "text": packing.of_text([_plain(line) for line in p.text]),
        "cells": packing.of_cells(p.cells),
        "after": p.after,
        "held": [[*b.low, *b.high] for b in p.held_by],
        "start": None if p.start is None else packing.of_heights(p.start),
    }  # fmt: skip
