"""Who makes each feature of a part, with what tool and why: worked out once, without moves.

``layout`` ends here; ``toolpath.build`` turns the decisions to moves and decides nothing.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from blankcam.faults import Fault
from blankcam.inputs.machine import Profile
from blankcam.inputs.tool import Tool
from blankcam.machining import (
    ends,
    jaws,
    outline,
    slots,
    thickness,
    tool_set,
    tools,
    top,
    waste,
    workholding,
)
from blankcam.machining.cutter_contact import Sweep, Table
from blankcam.machining.decision import ByHand, ByMachine, Decision, Reason, ReasonCode
from blankcam.machining.feeds import Work, plan_cut
from blankcam.machining.request import CutRequest
from blankcam.machining.setup_sheet import (
    BESIDE,
    Bench,
    SetupSheet,
    set_up,
    setup_on_edge,
    setup_on_face,
)
from blankcam.machining.slot_passes import across_ends
from blankcam.machining.surface_passes import SurfacePasses, surface_passes
from blankcam.parts.curve import Array
from blankcam.parts.frames import Box
from blankcam.parts.part import Feature, FeatureKind, Part
from blankcam.parts.slot import Slot

LEVEL = 1e-9
"""rad under which a top that falls toward the head is level."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Decided:
    """All that is decided of one part."""

    request: CutRequest
    """With the jaws' height as given, or worked out."""
    decisions: tuple[Decision, ...]
    """In working order."""
    face: Bench | None
    """The set-up on face; None where nothing is done there."""
    edge: Bench
    """The set-up on edge: what stands after the one on face."""
    surface: SurfacePasses | None
    """The passes of the top or the crown; None where no tool makes it."""
    faults: tuple[Fault, ...]
    """Why it must not or can't be cut so."""
    cautions: tuple[str, ...]

    @property
    def setups(self) -> tuple[SetupSheet, ...]:
        """How the blank is held and zeroed, in the order in which the set-ups are run."""
        face = (setup_on_face(self.face),) if self.face else ()
        return (*face, setup_on_edge(self.request, self.edge))

    def by(self, *kinds: FeatureKind) -> Iterator[Decision]:
        """The decisions on features of those kinds."""
        return (d for d in self.decisions if d.feature.kind in kinds)

    def tool_for(self, kind: FeatureKind) -> Tool | None:
        """The tool of the one feature of that kind; None where the hand makes it."""
        return next((d.tool for d in self.by(kind)), None)


def decide(request: CutRequest) -> Decided:
    """Every decision on a part, and every reason why it must not be cut so."""
    part, machine, wishes = request.part, request.machine, request.wishes
    off = thickness.off(part, request.blank, wishes.thickness)
    bench = set_up(request, y0=0.0 if off else request.blank.y0)
    faults = workholding.edge_faults(part.name, machine.holding)
    if wishes.thickness == "mill":
        faults += thickness.faults(part, request.blank)
    mills = wishes.outline == "mill"
    unmilled = ReasonCode.THIN_ENOUGH if wishes.thickness == "mill" else ReasonCode.HAND_BY_JOB
    face = _on_face(bench, off) if mills or off else None
    lying, found = _decide_on_face(part, face, unmilled, mills=mills)
    faults += found
    edge = cut_out(part, bench) if mills else bench
    standing, surface, edge, found = _decide_on_edge(request, edge)
    faults += found
    decisions = (*lying, *standing)
    machine = edge.profile
    return Decided(
        request=dataclasses.replace(request, machine=machine),
        decisions=decisions,
        face=dataclasses.replace(face, profile=machine) if face else None,
        edge=edge,
        surface=surface,
        faults=tuple(faults),
        cautions=tuple(_cautions(part, decisions, bench, milled_thickness=off > 0)),
    )


def _cautions(
    part: Part, decisions: Iterable[Decision], bench: Bench, *, milled_thickness: bool
) -> dict[str, None]:
    """What there is to tell of the tools, each once; a tool is the same in every operation."""
    decisions = list(decisions)
    face = (FeatureKind.THICKNESS, FeatureKind.OUTLINE)
    said = [c for d in decisions if d.feature.kind in face for c in _tool_cautions(d.tool, bench)]
    if milled_thickness:
        said.append(thickness.caution(part))
    rest = [d for d in decisions if d.feature.kind not in face]
    used = [d.tool for d in rest if not _is_slot(d)]
    used += _largest_first(d.tool for d in rest if _is_slot(d))
    used += _largest_first(d.nick for d in rest)
    said += [c for tool in used for c in _tool_cautions(tool, bench)]
    return dict.fromkeys(said)


def _largest_first(found: Iterable[Tool | None]) -> list[Tool]:
    return sorted((t for t in found if t is not None), key=lambda t: -t.diameter)


def _is_slot(decision: Decision) -> bool:
    return decision.feature.kind is FeatureKind.SLOT


def _tool_cautions(tool: Tool | None, bench: Bench) -> tuple[str, ...]:
    if tool is None:
        return ()
    return plan_cut(bench.material, tool, bench.profile, Work.SLOT).cautions


# -- on face -----------------------------------------------------------------------------------


def _on_face(bench: Bench, off: float) -> Bench:
    """The blank lying on its face, with what is still to come off its upper face over z 0."""
    edge, held = bench.stock, bench.profile.holding
    stock = Box(x0=edge.x0, x1=edge.x1, y0=edge.z0, y1=edge.z1, z0=-edge.y1, z1=off)
    clear = workholding.clamp_top(held, stock) + bench.profile.clearance
    return dataclasses.replace(bench, stock=stock, clearance=clear)


def _decide_on_face(
    part: Part, face: Bench | None, unmilled: ReasonCode, *, mills: bool
) -> tuple[list[Decision], list[Fault]]:
    """Thickness and outline."""
    if face is None:
        thin_enough = _by_hand(FeatureKind.THICKNESS, unmilled)
        return [thin_enough, _by_hand(FeatureKind.OUTLINE, ReasonCode.HAND_BY_JOB)], []
    stock, held = face.stock, face.profile.holding
    faults = workholding.face_faults(part.name, held, stock, outline=mills, thickness=stock.z1 > 0)
    thin, around = _facing_tool(face), _outline_tool(face) if mills else None
    if stock.z1 > 0 and thin is None:
        faults.append(_no_facing_tool(part, face))
    if mills and around is None:
        faults.append(_no_outline_tool(part, face))
    for tool in (thin, around):
        if tool is not None:
            area = (stock.x1 - stock.x0) * (stock.y1 - stock.y0)
            faults += workholding.tape_faults(part.name, held, tool, area)
    reaches = {
        "thickness": (thin, _facing_reach(thin, face)) if thin else None,
        "outline": (around, _outline_reach(part, around, face)) if around else None,
    }
    if not faults:
        faults += _clamp_faults(part, face, reaches)
        boxes = [r[1] for r in reaches.values() if r]
        faults += workholding.travel_faults(f"{part.name}, on face", face.profile, boxes)
    deep = -stock.z0 + outline.THROUGH
    flat = (ReasonCode.LARGEST_FLAT, ReasonCode.NO_FLAT)
    spans = {name: reach[1] if reach else None for name, reach in reaches.items()}
    if stock.z1 > 0:
        decided = [_made(FeatureKind.THICKNESS, thin, spans["thickness"], flat, stock.z1)]
    else:
        decided = [_by_hand(FeatureKind.THICKNESS, unmilled)]
    if mills:
        decided.append(_made(FeatureKind.OUTLINE, around, spans["outline"], flat, deep))
    else:
        decided.append(_by_hand(FeatureKind.OUTLINE, ReasonCode.HAND_BY_JOB))
    return decided, faults


def _facing_tool(face: Bench) -> Tool | None:
    off = face.stock.z1
    return tools.facing_tool(face.profile, off) if off > 0 else None


def _outline_tool(face: Bench) -> Tool | None:
    return tools.outline_tool(face.profile, -face.stock.z0 + outline.THROUGH)


def _no_facing_tool(part: Part, face: Bench) -> Fault:
    wrong = f"no flat tool of 1 mm or more takes {face.stock.z1:.2f} mm off the {part.name}"
    return _no_tool(face.profile, wrong, 'set thickness = "hand" in [plan]')


def _no_outline_tool(part: Part, face: Bench) -> Fault:
    wrong = f"no flat tool of 1 to {tools.WIDEST:g} mm cuts the {-face.stock.z0:.1f} mm "
    wrong += f"of the {part.name}'s outline"
    return _no_tool(face.profile, wrong, 'set outline = "saw" in [plan]')


def _no_tool(profile: Profile, wrong: str, otherwise: str) -> Fault:
    where = profile.path or profile.name
    return Fault(where=where, key="tools", wrong=wrong, fix=f"add one, or {otherwise}")


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
    left = min(-r, stock.x0 - r - BESIDE) if held.on_face == "carrier" else -r
    return Box(
        x0=left,
        x1=part.length + r,
        y0=stock.y0 - r - BESIDE,
        y1=high + r,
        z0=stock.z0 - min(outline.THROUGH, held.carrier_depth),
        z1=face.clearance,
    )


def _clamp_faults(
    part: Part, face: Bench, reaches: dict[str, tuple[Tool, Box] | None]
) -> list[Fault]:
    """The tool, its shank or its holder too near a clamp: the first such operation only."""
    stock, held = face.stock, face.profile.holding
    if held.on_face != "clamps":
        return []
    high, middle, half = (
        workholding.clamp_top(held, stock), (stock.y0 + stock.y1) / 2, held.clamp_width / 2
    )  # fmt: skip
    for name, reach in reaches.items():
        if reach is None:
            continue
        tool, box = reach
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


# -- on edge -----------------------------------------------------------------------------------


def _decide_on_edge(
    request: CutRequest, edge: Bench
) -> tuple[list[Decision], SurfacePasses | None, Bench, list[Fault]]:
    """Top, waste and slots of a nut; crown and ends of a saddle; and the jaws that they leave."""
    part = request.part
    finish = finish_of(part, edge)
    sweep, surface, faults = None, None, [] if finish else [_no_ball(part, edge)]
    reaches: list[tuple[str, Box]] = []
    if finish is not None:
        sweep = finish.sweep
        surface, limber = surface_passes(finish, edge, one_way=math.isinf(sweep.crown))
        faults += limber
        reaches.append((str(part.top_feature), _finish_reach(finish, edge)))
    tool, box = (sweep.tool, reaches[0][1]) if sweep else (None, None)
    why = (ReasonCode.LARGEST_REACHING, ReasonCode.NONE_REACHES)
    decided = [_made(part.top_feature, tool, box, why, _depth_of_top(part, edge))]
    made, reach = _decide_slots(part, request, edge, [tool.number] if tool else [])
    reaches += reach
    edge, found = _held_in_jaws(part, edge, reaches)
    faults += found
    rounded, around, found = _decide_ends(part, request, edge, sweep)
    boxes = [box for _, box in (*reaches, *around)]
    where = f"{part.name}, on edge"
    faults += [*found, *workholding.travel_faults(where, edge.profile, boxes)]
    return [*decided, *made, *rounded], surface, edge, faults


def _held_in_jaws(
    part: Part, edge: Bench, reaches: list[tuple[str, Box]]
) -> tuple[Bench, list[Fault]]:
    """The set-up with its jaws as high as given or worked out, and what is wrong with that.

    Round ends are cut down to the jaws, however high these are, and so have no say here.
    """
    lows = sorted((box.z0, name) for name, box in reaches)
    low, name = lows[0] if lows else (edge.stock.z1, str(part.top_feature))
    window = jaws.Window(standing=edge.stock.z1, cut=name, low=low)
    held = edge.profile.holding
    faults = jaws.height_faults(part.name, held, window, _wider_window(window, edge))
    profile = dataclasses.replace(edge.profile, holding=jaws.settled(held, window))
    return dataclasses.replace(edge, profile=profile), list(faults)


def _wider_window(window: jaws.Window, edge: Bench) -> str:
    """What would leave the jaws a height to stand at."""
    by_hand = 'set slots = "file" in [plan]' if window.cut == "slots" else ""
    by_hand = by_hand or f"cut the {window.cut} by hand"
    if edge.outline is not None or window.most < workholding.GRIP:
        return by_hand
    lower = f"a blank no higher than {window.most / workholding.GRIP_SHARE:.2f} mm"
    return f'use {lower}, set outline = "mill" in [plan], or {by_hand}'


def _finish_reach(finish: Table, edge: Bench) -> Box:
    """Where the tip goes over a top or a crown."""
    x0, x1 = finish.sweep.x_ends
    z0 = _lowest(finish)
    return Box(x0=x0, x1=x1, y0=min(finish.ys), y1=max(finish.ys), z0=z0, z1=edge.clearance)


def _decide_slots(
    nut: Part, request: CutRequest, edge: Bench, called: Iterable[int]
) -> tuple[list[Decision], list[tuple[str, Box]]]:
    """Waste and slots; ``called``: the tools that the set-up calls anyway."""
    by_string = {s.string: s for s in nut.slots}
    by_file = request.wishes.slots != "mill"
    each = tool_set.chosen(nut, edge, by_file=by_file, called=called)
    chosen = [_with_reach(nut, by_string[d.string], d, edge) for d in each]
    opened = [w for d in chosen if (w := _opened(nut, by_string[d.string], d, edge))]
    made = [*opened, *chosen]
    reaches = [
        (str(d.feature.kind), d.by.reach)
        for d in made
        if isinstance(d.by, ByMachine) and d.by.reach is not None
    ]
    nicked = ((by_string[d.string], d.nick) for d in chosen if d.nick is not None)
    reaches += [("slots", _nick_reach(nut, slot, tool, edge)) for slot, tool in nicked]
    return made, reaches


def _with_reach(nut: Part, slot: Slot, decision: Decision, edge: Bench) -> Decision:
    """The decision on a slot with where the tip goes; as it is where the file makes it."""
    if not isinstance(decision.by, ByMachine):
        return decision
    tool = decision.by.tool
    reach = _across_reach(slot, tool, edge, slots.lowest(nut, slot, tool, edge))
    return dataclasses.replace(decision, by=dataclasses.replace(decision.by, reach=reach))


def _opened(nut: Part, slot: Slot, decision: Decision, edge: Bench) -> Decision | None:
    """The waste over a slot, where it is opened first."""
    if not isinstance(decision.by, ByMachine) or (opening := decision.by.opening) is None:
        return None
    low = waste.lowest(nut, slot, opening, edge.stock)
    reach = _across_reach(slot, opening.tool, edge, low)
    feature = Feature(kind=FeatureKind.WASTE, string=slot.string)
    return Decision(feature=feature, by=ByMachine(tool=opening.tool, reach=reach))


def _nick_reach(nut: Part, slot: Slot, tool: Tool, edge: Bench) -> Box:
    """Where the tip goes for a locating nick."""
    return _across_reach(slot, tool, edge, slots.lowest_of_nick(nut, slot, tool, edge))


def _across_reach(slot: Slot, tool: Tool, edge: Bench, low: float) -> Box:
    """Where the tip goes on passes across a nut at one slot."""
    y0, y1 = across_ends(edge.stock, tool, back=True, lean=slot.tilt)
    aside = slot.radius + tool.radius + abs(math.tan(slot.yaw)) * max(-y0, y1)
    return Box(
        x0=slot.centre - aside, x1=slot.centre + aside, y0=y0, y1=y1, z0=low, z1=edge.clearance
    )


def _decide_ends(
    part: Part, request: CutRequest, edge: Bench, sweep: Sweep | None
) -> tuple[list[Decision], list[tuple[str, Box]], list[Fault]]:
    """The round ends, where a flat tool is long enough; else they are the hand's."""
    if FeatureKind.ENDS not in {f.kind for f in part.features}:
        return [], [], []
    if request.wishes.ends != "mill" or sweep is None:
        decision = _by_hand(FeatureKind.ENDS, ReasonCode.HAND_BY_JOB)
        faults = square_faults(request.wishes.outline) if sweep else []
        return [decision], [], faults
    need = highest(sweep, sweep.stock.x0, sweep.stock.x1) - ends.lowest(edge.profile.holding) + 0.2
    tool = tools.outline_tool(edge.profile, need)
    if tool is None:
        short = Reason(code=ReasonCode.NO_FLAT, values={"need": need})
        decision = Decision(feature=Feature(kind=FeatureKind.ENDS), by=ByHand(), reasons=(short,))
        return [decision], [], square_faults(request.wishes.outline)
    box = _ends_reach(part, tool, edge)
    why = (ReasonCode.LARGEST_FLAT, ReasonCode.NO_FLAT)
    return [_made(FeatureKind.ENDS, tool, box, why, need)], [("ends", box)], []


def _ends_reach(part: Part, tool: Tool, edge: Bench) -> Box:
    r, stock = part.thickness / 2, edge.stock
    aside = tool.radius + BESIDE
    return Box(
        x0=r,
        x1=part.length - r,
        y0=min(-tool.radius, stock.y0 - tool.radius) - BESIDE,
        y1=max(2 * r, stock.y1) + aside,
        z0=ends.lowest(edge.profile.holding),
        z1=edge.clearance,
    )


def square_faults(outline_by: str) -> list[Fault]:
    """An outline cut to length leaves square ends, which must be made round in the same plan."""
    if outline_by != "mill":
        return []
    return [
        Fault(
            where="saddle",
            key="plan.outline",
            found="mill",
            wrong="would cut the ends square to length, and nothing would make them round",
            fix='set ends = "mill" with a flat tool long enough, or outline = "saw"',
        )
    ]


def highest(sweep: Sweep, low: float, high: float) -> float:
    """The highest of a crown over the blank from one x to another, mm."""
    x, y = np.meshgrid(np.linspace(low, high, 65), np.linspace(sweep.y_low, sweep.y_high, 33))
    return float(np.max(sweep.surface.height(x, y))) + 0.02


def finish_of(part: Part, edge: Bench) -> Table | None:
    """The finishing passes of the part's top or crown; None where no tool reaches so deep.

    Of the tools that reach the largest that leaves the jaws their grip: a larger ball goes further
    down beside a crown. Where none does the largest.
    """
    surface = part.at(edge.stage).surface
    level = math.isinf(surface.section_radius) and abs(surface.tilt) < LEVEL
    reaching = (t for tool in tools.surfacing_tools(edge.profile, level=level)
                if (t := _finish_with(tool, part, edge)) is not None)  # fmt: skip
    largest = None
    for each in reaching:
        largest = largest or each
        if jaws.leaves_grip(edge.profile.holding, edge.stock.z1, _lowest(each)):
            return each
    return largest


def _finish_with(tool: Tool, part: Part, edge: Bench) -> Table | None:
    """The finishing passes with that tool; None where it does not reach."""
    surface = part.at(edge.stage).surface
    straight = math.isinf(surface.section_radius)
    if straight and tool.reach < _depth_of_top(part, edge):
        return None
    sweep = Sweep(
        surface=surface,
        tool=tool,
        stock=edge.stock,
        y_low=0.0,
        y_high=edge.stock.y1,
        crown=surface.section_radius,
        outline=edge.outline,
        ridge=part.at(edge.stage).ridge,
    )
    finish = sweep.table(sweep.rows(top.finishing_step(sweep, tool)))
    # Beside a round crown the tip goes below what it brings out
    reaches = straight or tool.reach >= edge.stock.z1 - _lowest(finish)
    return finish if reaches else None


def _lowest(finish: Table) -> float:
    return float(np.min(finish.tips[finish.wanted]))


def _depth_of_top(part: Part, edge: Bench) -> float:
    """How deep a top or a crown lies at its lowest below what stands, mm."""
    stock, surface = edge.stock, part.at(edge.stage).surface
    xs = np.linspace(stock.x0, stock.x1, 33)
    ys = (stock.y0, stock.y1)
    return stock.z1 - min(float(np.min(surface.height(xs, np.full_like(xs, y)))) for y in ys)


def _no_ball(part: Part, edge: Bench) -> Fault:
    need = _depth_of_top(part, edge)
    wrong = f"no ball tool of 1 to 6 mm reaches {need:.1f} mm deep for the {part.name}"
    return _no_tool(edge.profile, wrong, "cut this part by hand")


def _made(
    kind: FeatureKind,
    tool: Tool | None,
    reach: Box | None,
    why: tuple[ReasonCode, ReasonCode],
    need: float,
) -> Decision:
    """A feature that the machine makes, or the hand for want of a tool.

    ``why``: the reason with a tool and the one without; ``need``: how deep it must reach, mm.
    """
    by = ByHand() if tool is None else ByMachine(tool=tool, reach=reach)
    reason = Reason(code=why[tool is None], values={"need": need})
    return Decision(feature=Feature(kind=kind), by=by, reasons=(reason,))


def _by_hand(kind: FeatureKind, code: ReasonCode) -> Decision:
    return Decision(feature=Feature(kind=kind), by=ByHand(), reasons=(Reason(code=code),))
