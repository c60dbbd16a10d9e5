"""What ``layout --json`` prints and ``report.json`` holds, under the keys promised for them.

Millimetres, degrees, newtons, seconds; proof figures in micrometres.
"""

from __future__ import annotations

import functools
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from blankcam.inputs.machine import Profile
from blankcam.instrument import advice
from blankcam.instrument.buzz import BuzzMargin, buzz_margins
from blankcam.machining.decision import Decision, Reason, ReasonCode
from blankcam.machining.promise import promise
from blankcam.outputs import reasons
from blankcam.outputs.tables.nut import edge_table, slot_table
from blankcam.outputs.tables.saddle import seat_table
from blankcam.outputs.tables.strings import string_table
from blankcam.parts.blank import Check
from blankcam.parts.design import Design
from blankcam.parts.fit import Fit
from blankcam.parts.nut import Nut
from blankcam.parts.part import Part
from blankcam.parts.saddle import Saddle
from blankcam.parts.stage import Stage

if TYPE_CHECKING:
    from blankcam.cut import CutResult
    from blankcam.gcode.program_file import ProgramFile

SLOT = (
    "string", "note", "course", "gauge", "centre", "width", "floor_front", "depth_front", "tilt",
    "lift", "exposure", "by", "tool", "why",
)  # fmt: skip
SEAT = (
    "string", "note", "centre", "height", "setback", "wanted_setback", "ridge", "residual",
    "cents_at_12",
)  # fmt: skip
EDGE = (
    "string", "note", "forward", "back", "setback", "left", "right", "bottom", "by", "tool",
)  # fmt: skip
STRING = (
    "string", "note", "gauge", "first_fret", "action", "usual_first_fret", "usual_action",
    "unit_weight", "unit_weight_band", "tension", "stress", "stiffness", "break_angle", "downforce",
)  # fmt: skip


def report(
    design: Design,
    *,
    stage: Stage,
    machine: str,
    choices: Mapping[int, Decision] | None = None,
    fronts: Mapping[int, Decision] | None = None,
    by_hand: Iterable[Mapping[str, Any]] = (),
    programs: Iterable[Mapping[str, Any]] = (),
    cautions: Sequence[str] = (),
    refusals: Sequence[str] = (),
) -> dict[str, Any]:
    """Everything computed for a job.

    Parameters
    ----------
    choices : who makes each slot, by the number of its string
    fronts : who cuts the nut's front back, likewise
    by_hand : what is left to the hand, as of ``hand_records``
    cautions : beside the design's own
    refusals : why ``make`` will refuse the job
    """
    return {
        "job": design.job.instrument.name,
        "job_digest": design.job.digest,
        "stage": str(stage),
        "machine": machine,
        "assumed": design.job.assumed,
        "cautions": list(dict.fromkeys((*design.cautions, *cautions))),
        "refusals": list(refusals),
        **_parts(design, choices or {}, fronts or {}),
        "blanks": [_check(c) for c in design.checks],
        "strings": _strings(design),
        "total_tension": advice.total_tension(design.strings),
        "by_hand": list(by_hand),
        "programs": list(programs),
    }


def hand_records(part: str, decisions: Iterable[Decision]) -> Iterator[dict[str, Any]]:
    """What a report says of each feature that the hand makes: why, in words and as values."""
    for decision in decisions:
        codes = [r.code for r in decision.reasons]
        if decision.tool is None and ReasonCode.THIN_ENOUGH not in codes:
            yield {
                "part": part,
                "feature": str(decision.feature.kind),
                "string": decision.feature.string,
                "why": reasons.words(decision.reasons),
                "reasons": [_reason(r) for r in decision.reasons],
            }


def _reason(reason: Reason) -> dict[str, Any]:
    return {"code": str(reason.code), "values": dict(reason.values)}


def program_records(result: CutResult) -> Iterator[dict[str, Any]]:
    """What a report says of each program of a part."""
    proof = result.proof
    own = {p.name: p.record() for p in proof.programs} if proof else {}
    held = result.request.machine.holding
    for file in result.files:
        yield {
            "file": file.name,
            "part": file.program.part,
            "setup": file.program.setup,
            "stage": file.program.stage,
            "jaw_top": held.jaws if file.setup == "edge" else None,
            "zeros": [
                {"axis": z.axis, "touch": str(z.surface), "value": z.value}
                for z in file.program.zeros
            ],
            "air": file.program.air,
            "tools": [t.number for t in file.tools],
            "lines": file.lines,
            "cut_length": file.cut_length,
            "seconds": file.seconds,
            "cutting_seconds": file.times.cutting,
            "air_seconds": file.times.air,
            "bound_seconds": file.bound_seconds,
            "proof": proof.record() | own[file.name] if proof else None,
        } | _good_to(file, result.request.machine)


def _good_to(file: ProgramFile, machine: Profile) -> dict[str, dict[str, float]]:
    """How far off its slots may come out, micrometres, where it is known how the machine cuts."""
    if not machine.known:
        return {}
    good = promise(machine, file.tools, file.program.stock)
    each = {"width": good.width, "height": good.height, "place": good.place}
    return {"good_to_um": {k: round(1000 * v, 1) for k, v in each.items()}}


Chosen = Mapping[int, Decision]


def _parts(design: Design, choices: Chosen, fronts: Chosen) -> dict[str, Any]:
    """What is made, by its name; a part that is not made is absent."""
    return {part.name: _record(part, design, choices, fronts) for part in design.parts}


@functools.singledispatch
def _record(part: Part, design: Design, choices: Chosen, fronts: Chosen) -> dict[str, Any]:
    """All that is known of a part."""
    del design, choices, fronts
    raise TypeError(type(part))


@_record.register(Nut)
def _nut(nut: Nut, design: Design, choices: Chosen, fronts: Chosen) -> dict[str, Any]:
    edges = design.edges
    moved = edge_table(nut, edges, fronts).pick(*EDGE).records()
    return {
        "length": nut.length,
        "height": nut.height,
        "thickness": nut.thickness,
        "top_radius": nut.top.radius,
        "fit": _fit(nut.fit),
        "allowance": nut.allowance,
        "hold_back": nut.hold_back,
        "slots": slot_table(nut, choices).pick(*SLOT).records(),
        "edges": [r | {"cents": e.cents} for r, e in zip(moved, edges, strict=True)],
    }


@_record.register(Saddle)
def _saddle(saddle: Saddle, design: Design, choices: Chosen, fronts: Chosen) -> dict[str, Any]:
    del design, choices, fronts
    return {
        "length": saddle.length,
        "height": saddle.height,
        "thickness": saddle.thickness,
        "top_radius": saddle.top_radius,
        "fit": _fit(saddle.fit),
        "allowance": saddle.allowance,
        "crown_radius": saddle.crown_radius,
        "ends": saddle.ends,
        "strings": seat_table(saddle).pick(*SEAT).records(),
    }


def _fit(fit: Fit) -> dict[str, Any]:
    return {"class": fit.code, "low": fit.low, "high": fit.high}


def _strings(design: Design) -> list[dict[str, Any]]:
    rows = string_table(design).pick(*STRING).records()
    margins = buzz_margins(design.instrument)
    return [
        row
        | {"cents": s.cents, "cents_straight": s.cents_straight, "assumed": s.force.assumed}
        | {"buzz": _buzz(margin), "least_action": margin.least_action}
        for row, s, margin in zip(rows, design.strings, margins, strict=True)
    ]


def _buzz(margin: BuzzMargin) -> dict[str, Any]:
    """What a plucked string keeps over the frets: open over each, and the least of all."""
    return {
        "open": margin.open,
        "least": margin.least,
        "held": margin.held,
        "fret": margin.fret,
    }


def _check(check: Check) -> dict[str, Any]:
    return {
        "part": check.part,
        "dimension": check.dimension,
        "have": check.have,
        "need": check.need,
        "rub_off": check.rub_off,
        "by": check.by,
        "loose": check.loose,
    }
