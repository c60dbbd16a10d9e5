"""What the page's script needs besides the markup, as plain values and packed arrays."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from blankcam.outputs import switched
from blankcam.preview import packing
from blankcam.preview.model import PageData, PartView, ProgramView, Spot, StageView
from blankcam.preview.section_svg import seat_values, section_values


def page_values(given: PageData) -> dict[str, Any]:
    """What the script needs besides the markup."""
    return {
        "limits": list(given.limits_um),
        "stage": next((p.stage for p in given.programs), "rough" if given.waiting else "final"),
        "parts": [_part(p) for p in given.parts],
        "programs": [_program(p) for p in given.programs],
        "sections": section_values(given.sections, given.standings) if given.sections else None,
        "seats": seat_values(given.seats),
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
        "stock": p.stock,
        "refit": p.refit,
        "height": p.height,
        "standings": {name: switched.in_braces(said) for name, said in p.standings},
        "thick": p.thickness,
        "long": p.length,
        "around": [{"kind": a.kind, "near": _line3(a.near), "far": _line3(a.far), "low": a.low}
                   for a in p.around],
        "tags": [{"words": t.words, "at": _line3((t.at,))[0], "seat": t.seat} for t in p.tags],
        "spots": [_spot(s) for s in p.spots],
        "strings": [
            {"string": s.string, "gauge": s.gauge, "make": s.make, "filed": s.filed, "now": s.now,
             "raised": s.raised,
             "points": [[round(float(c), 4) for c in point] for point in s.points]}
            for s in p.strings
        ],
        "stages": [_stage(s) for s in p.stages],
    }  # fmt: skip


def _line3(points: Iterable[tuple[float, float, float]]) -> list[list[float]]:
    return [[round(c, 3) for c in p] for p in points]


def _spot(s: Spot) -> dict[str, Any]:
    facts = [{"words": f.words, "value": round(f.value, 5), "unit": f.unit, "digits": f.digits}
             for f in s.facts]  # fmt: skip
    return {"string": s.string, "note": _plain(s.note), "x": s.x, "half": s.half_width,
            "facts": facts, "remark": _plain(s.remark), "by": s.by}  # fmt: skip


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
        "chapters": [[c.line, _plain(c.name), _plain(c.words), c.tool] for c in p.chapters],
        "holds": _plain(p.held),
        "held": [[*b.low, *b.high] for b in p.held_by],
        "start": None if p.start is None else packing.of_heights(p.start),
    }  # fmt: skip
