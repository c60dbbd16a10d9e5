"""The contract's keys: what ``layout --json`` prints and ``report.json`` holds.

Millimetres, degrees, newtons, seconds; proof figures in micrometres.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from blankcam.instrument import advice
from blankcam.instrument.strings import degrees
from blankcam.machining.decision import Decision
from blankcam.outputs.reasons import words
from blankcam.parts.design import Design
from blankcam.parts.nut import Slot
from blankcam.parts.part import Stage
from blankcam.parts.saddle import Seat

if TYPE_CHECKING:
    from blankcam.cut import CutResult

DECIMALS = 4  # tenths of a micrometre: finer than anything that can be measured


def report(
    design: Design,
    *,
    stage: Stage,
    machine: str,
    choices: Mapping[int, Decision] | None = None,
    programs: Iterable[Mapping[str, Any]] = (),
    cautions: Sequence[str] = (),
) -> dict[str, Any]:
    """Everything computed for a job, under the contract's keys."""
    content = {
        "job": design.job.instrument.name,
        "job_digest": design.job.digest,
        "stage": str(stage),
        "machine": machine,
        "assumed": list(design.job.assumed),
        "cautions": [*design.cautions, *cautions],
        "nut": _nut(design, choices or {}),
        "saddle": _saddle(design),
        "blanks": [_check(c) for c in design.checks],
        "strings": [_string(design, i) for i in range(len(design.strings))],
        "total_tension": advice.total_tension(design.strings),
        "programs": list(programs),
    }
    return {key: rounded(value) for key, value in content.items()}


def program_records(result: CutResult) -> Iterator[dict[str, Any]]:
    """What a report says of each program of a part."""
    proof = result.proof
    own = {p.name: p.record() for p in proof.programs} if proof else {}
    for file in result.programs:
        yield {
            "file": file.name,
            "part": file.program.part,
            "setup": file.program.setup,
            "stage": file.program.stage,
            "tools": [t.number for t in file.tools],
            "lines": file.lines,
            "cut_length": file.cut_length,
            "seconds": file.seconds,
            "cutting_seconds": file.times.cutting,
            "air_seconds": file.times.air,
            "bound_seconds": file.bound_seconds,
            "proof": proof.record() | own[file.name] if proof else None,
        }


def dumps(content: Mapping[str, Any]) -> str:
    """A report as text, the same for the same report."""
    return json.dumps(content, indent=2, ensure_ascii=True, allow_nan=False) + "\n"


def rounded(value: Any) -> Any:
    """The report with its numbers rounded; an infinite radius becomes None (flat)."""
    if isinstance(value, Mapping):
        return {k: rounded(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [rounded(v) for v in value]
    if isinstance(value, float):
        return round(value, DECIMALS) + 0.0 if math.isfinite(value) else None
    return value


def _nut(design: Design, choices: Mapping[int, Decision]) -> dict[str, Any]:
    nut = design.nut
    return {
        "length": nut.length,
        "height": nut.height,
        "thickness": nut.thickness,
        "top_radius": nut.top.radius,
        "fit": {"class": nut.fit.code, "low": nut.fit.low, "high": nut.fit.high},
        "allowance": nut.allowance,
        "hold_back": nut.hold_back,
        "slots": [_slot(s, choices.get(s.string)) for s in nut.slots],
        "edges": [_edge(e) for e in design.edges],
    }


def _edge(edge: advice.NutEdge) -> dict[str, Any]:
    return {
        "string": edge.number,
        "note": edge.note,
        "forward": edge.forward,
        "back": edge.back,
        "setback": edge.compensation,
        "cents": list(edge.cents),
    }


def _slot(slot: Slot, choice: Decision | None) -> dict[str, Any]:
    return {
        "string": slot.string,
        "note": slot.note,
        "course": slot.course,
        "gauge": slot.gauge,
        "centre": slot.centre,
        "width": slot.width,
        "floor_front": slot.floor_front,
        "depth_front": slot.depth_front,
        "tilt": math.degrees(slot.tilt),
        "lift": slot.lift,
        "exposure": slot.exposure,
        "by": "mill" if choice and choice.tool else "file",
        "tool": choice.tool.number if choice and choice.tool else None,
        "why": words(choice.reasons) if choice else "no machine chosen",
    }


def _saddle(design: Design) -> dict[str, Any]:
    saddle = design.saddle
    return {
        "length": saddle.length,
        "height": saddle.height,
        "thickness": saddle.thickness,
        "top_radius": saddle.top_radius,
        "fit": {"class": saddle.fit.code, "low": saddle.fit.low, "high": saddle.fit.high},
        "allowance": saddle.allowance,
        "crown_radius": saddle.crown_radius,
        "ends": saddle.ends,
        "strings": [_seat(s) for s in saddle.strings],
    }


def _seat(seat: Seat) -> dict[str, Any]:
    return {
        "string": seat.string,
        "note": seat.note,
        "centre": seat.centre,
        "height": seat.height,
        "setback": seat.compensation,
        "wanted_setback": seat.wanted_compensation,
        "ridge": seat.ridge,
        "residual": seat.residual,
        "cents_at_12": seat.cents,
    }


def _string(design: Design, index: int) -> dict[str, Any]:
    data, path = design.strings[index], design.instrument.strings[index]
    first_fret, action = path.clearance(design.instrument.board, np.array([1.0, 12.0]))
    usual = advice.usual_heights(design.job.instrument.kind, design.instrument.strings)[index]
    return {
        "string": data.number,
        "note": data.note,
        "gauge": data.gauge,
        "first_fret": float(first_fret),
        "action": float(action),
        "usual_first_fret": usual[0],
        "usual_action": usual[1],
        "unit_weight": data.force.unit_weight,
        "unit_weight_band": data.force.unit_weight_band,
        "tension": data.force.tension,
        "stress": data.force.stress,
        "stiffness": data.force.stiffness,
        "break_angle": degrees(data.break_angle),
        "downforce": data.downforce,
        "cents": list(data.cents),
        "cents_straight": list(data.cents_straight),
        "assumed": list(data.force.assumed),
    }


def _check(check: Any) -> dict[str, Any]:
    return {
        "part": check.part,
        "dimension": check.dimension,
        "have": check.have,
        "need": check.need,
        "rub_off": check.rub_off,
        "by": check.by,
        "loose": check.loose,
    }
