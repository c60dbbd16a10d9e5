"""Who makes what of a blank that lies on its face: its thickness, then its outline."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from blankcam.faults import Fault
from blankcam.inputs.tool import Tool
from blankcam.machining import outline, thickness, tools, workholding
from blankcam.machining.decision import ByMachine, Decision, Reason, ReasonCode
from blankcam.machining.request import CutRequest
from blankcam.machining.setup_sheet import BESIDE, Bench
from blankcam.parts.curve import Array
from blankcam.parts.frames import Box
from blankcam.parts.part import Feature, FeatureKind, Part


@dataclass(frozen=True, slots=True, kw_only=True)
class FaceDecided:
    """What is decided of the set-up on face."""

    decisions: tuple[Decision, Decision]
    """Of the thickness and of the outline."""
    bench: Bench | None
    """The set-up; None where the machine makes neither."""


def decide_on_face(request: CutRequest, bench: Bench) -> FaceDecided:
    """Thickness and outline, each by itself; ``bench`` is the whole blank on edge."""
    part, wishes = request.part, request.wishes
    off = thickness.off(part, request.blank, wishes.thickness)
    lying = _on_face(bench, off)
    thin = _decide_thickness(request, lying)
    if thin.tool is None:
        lying = _on_face(bench, 0.0)
    around = _decide_outline(request, lying, thin)
    made = thin.tool is not None or around.tool is not None
    return FaceDecided(decisions=(thin, around), bench=lying if made else None)


def _on_face(bench: Bench, off: float) -> Bench:
    """The blank lying on its face, with what is still to come off its upper face over z 0."""
    edge, held = bench.stock, bench.profile.holding
    stock = Box(x0=edge.x0, x1=edge.x1, y0=edge.z0, y1=edge.z1, z0=-edge.y1, z1=off)
    clear = workholding.clamp_top(held, stock) + bench.profile.clearance
    return dataclasses.replace(bench, stock=stock, clearance=clear)


def _decide_thickness(request: CutRequest, face: Bench) -> Decision:
    """Whether the machine mills the upper face down."""
    part, feature = request.part, Feature(kind=FeatureKind.THICKNESS)
    if request.wishes.thickness != "mill":
        return Decision.by_hand(feature, [Reason(code=ReasonCode.HAND_BY_JOB)])
    off = face.stock.z1
    if off <= 0:
        return Decision.by_hand(feature, [Reason(code=ReasonCode.THIN_ENOUGH)])
    against = thickness.too_thick(part, request.blank)
    against += workholding.face_faults(
        part.name, face.profile.holding, face.stock, outline=False, thickness=True
    )
    if against:
        return Decision.by_hand(feature, map(Reason.of_limit, against))
    reasons: list[Reason] = []
    for tool in tools.facing_tools(face.profile, off):
        reach = _facing_reach(tool, face)
        faults = _tool_faults(part, face, tool, ("thickness", [reach]))
        if not faults:
            return _made(feature, tool, reach, off)
        reasons += map(Reason.of_limit, faults)
    return Decision.by_hand(
        feature, reasons or [Reason(code=ReasonCode.NO_FLAT, values={"need": off})]
    )


def _decide_outline(request: CutRequest, face: Bench, thin: Decision) -> Decision:
    """Whether the machine cuts the outline, after the thickness."""
    part, feature = request.part, Feature(kind=FeatureKind.OUTLINE)
    if request.wishes.outline != "mill":
        return Decision.by_hand(feature, [Reason(code=ReasonCode.HAND_BY_JOB)])
    held, need = face.profile.holding, -face.stock.z0 + outline.THROUGH
    against = workholding.face_faults(part.name, held, face.stock, outline=True, thickness=False)
    if against:
        return Decision.by_hand(feature, map(Reason.of_limit, against))
    before = [thin.reach] if thin.reach else []
    reasons: list[Reason] = []
    for tool in tools.outline_tools(face.profile, need):
        reach = _outline_reach(part, tool, face)
        faults = _tool_faults(part, face, tool, ("outline", [*before, reach]))
        if not faults:
            return _made(feature, tool, reach, need)
        reasons += map(Reason.of_limit, faults)
    return Decision.by_hand(
        feature, reasons or [Reason(code=ReasonCode.NO_FLAT, values={"need": need})]
    )


def _tool_faults(
    part: Part, face: Bench, tool: Tool, operation: tuple[str, Sequence[Box]]
) -> list[Fault]:
    """Why that tool must not do an operation: its name, and where tools go up to and with it."""
    (name, reaches), held, stock = operation, face.profile.holding, face.stock
    area = (stock.x1 - stock.x0) * (stock.y1 - stock.y0)
    return [
        *workholding.tape_faults(part.name, held, tool, area),
        *_clamp_faults(part, face, name, tool, reaches[-1]),
        *workholding.travel_faults(f"{part.name}, on face", face.profile, reaches),
    ]


def _made(feature: Feature, tool: Tool, reach: Box, need: float) -> Decision:
    why = Reason(code=ReasonCode.LARGEST_FLAT, values={"need": need})
    by = ByMachine(tool=tool, reach=reach, depth=need)
    return Decision(feature=feature, by=by, reasons=(why,))


def _facing_reach(tool: Tool, face: Bench) -> Box:
    """Where the tool's axis and tip go while the upper face is milled."""
    stock, aside = face.stock, tool.radius + thickness.BESIDE
    return Box(
        x0=stock.x0 - aside, x1=stock.x1 + aside, y0=stock.y0, y1=stock.y1, z0=0.0,
        z1=face.clearance,
    )  # fmt: skip


def _outline_reach(part: Part, tool: Tool, face: Bench) -> Box:
    """Where the tool's axis and tip go around the outline."""
    stock, r, held = face.stock, tool.radius, face.profile.holding
    x = np.linspace(0.0, part.length, 201)
    high = float(np.max(outline.left_standing(part, face.stage, x)))
    aside = r + outline.MOST_ASIDE
    # On a carrier levels may be entered from beside the blank
    beside = r + BESIDE if held.on_face == "carrier" else -math.inf
    return Box(
        x0=min(-aside, stock.x0 - beside),
        x1=max(part.length + aside, stock.x1 + beside),
        y0=stock.y0 - r - BESIDE,
        y1=high + aside,
        z0=stock.z0 - min(outline.THROUGH, held.carrier_depth),
        z1=face.clearance,
    )


def _clamp_faults(part: Part, face: Bench, name: str, tool: Tool, box: Box) -> list[Fault]:
    """The tool, its shank or its holder too near a clamp."""
    stock, held = face.stock, face.profile.holding
    if held.on_face != "clamps":
        return []
    high, middle, half = (
        workholding.clamp_top(held, stock), (stock.y0 + stock.y1) / 2, held.clamp_width / 2
    )  # fmt: skip
    aside = max(box.y0 - middle - half, middle - half - box.y1, 0.0)
    inward = min(box.x0 - stock.x0, stock.x1 - box.x1) - held.clamp_reach
    off = math.hypot(max(inward, 0.0), aside)
    for what, radius, above in workholding.cylinders(tool, face.profile):
        short = radius + workholding.JAW_ROOM - off
        if box.z0 + above < high + workholding.JAW_ROOM and short > 0:
            return [workholding.clamped_fault(part.name, held, name, tool, what, short)]
    return []


def cut_out(part: Part, bench: Bench) -> Bench:
    """The set-up on edge of what the outline on face has left; its clearance stays the blank's."""

    def standing(x: Array) -> Array:
        return outline.left_standing(part, bench.stage, x) + outline.STANDING

    high = float(np.max(standing(np.linspace(0.0, part.length, 2001))))
    stock = dataclasses.replace(bench.stock, x0=0.0, x1=part.length, z1=min(high, bench.stock.z1))
    return dataclasses.replace(bench, stock=stock, outline=standing)
