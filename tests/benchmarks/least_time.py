"""The least time that a set-up could take, over every set of the machine's tools.

B = min over sets S of [1.1 sum t(feature, S) + n(S) (change + pause) + starts(S) spin-up]: what the
waste takes at the best rate that the tables allow, and the finishing passes that a surface needs,
each feature with the tool of S that is quickest for it. It knows feeds, tools and parts, and
nothing of how passes are laid: no entry, no way back, no round of a ball between its passes is
counted.

It is no way to make a part, and where passes round a slot's floor take most of its waste along it
is not strictly the least: all but one of them are counted beside the waste. The proof's own
scallops, 0.020 mm on tops and crowns and 0.010 in slots, are taken in full.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import partial

import numpy as np

from blankcam.data import table
from blankcam.inputs.machine import ToolChange
from blankcam.inputs.tool import Shape
from blankcam.machining.feeds import Work, material, plan_cut, step_crown, step_flat
from blankcam.machining.slots import nick_depth
from blankcam.parts.frames import Setup
from blankcam.parts.part import FeatureKind
from blankcam.parts.slot import clear_window
from blankcam.toolpath.timing import FLOOR, PAUSE

SCALLOP: float = table("proof")["limits"]["left"]
IN_SLOTS = 0.010
"""mm between passes round a slot's floor, along its normal: the design's scallop."""
ROOM: float = table("cutting")["slots"]["side_room"]
SMALLEST: float = table("cutting")["slots"]["smallest_tool"]
LEAVE: float = table("limits")["outline"]["leave"]
ON_FACE = (FeatureKind.OUTLINE,)

Seconds = Mapping[int, float]
"""What a feature takes at least with a tool, by its number; tools that can't make it are missing.
"""


def least_seconds(plan, setup) -> float:
    """The bound of a set-up of a plan, for the features that the machine makes there."""
    machine = plan.request.machine
    each = list(_features(plan, setup))
    assert each
    return min(_with(each, chosen, machine) for chosen in _sets(machine.tools))


def _sets(tools) -> Iterator[tuple[int, ...]]:
    numbers = [t.number for t in tools]
    for count in range(1, len(numbers) + 1):
        yield from itertools.combinations(numbers, count)


def _with(each: Sequence[Seconds], chosen: Sequence[int], machine) -> float:
    """The time of a set of tools; infinite where it can't make every feature."""
    calls = len(chosen)
    changes = calls if machine.controller.tool_change is ToolChange.AUTOMATIC else calls - 1
    waits = changes * (machine.tool_change_seconds + PAUSE) + calls * machine.spin_up
    cuts = sum(min((f[n] for n in chosen if n in f), default=math.inf) for f in each)
    return FLOOR * cuts + waits


def _features(plan, setup) -> Iterator[Seconds]:
    """What each feature takes with each tool; waste over a slot is one beside the slot."""
    for decision in plan.decisions:
        kind = decision.feature.kind
        if (kind in ON_FACE) is not (setup == Setup.FACE.value):
            continue
        if decision.tool is not None and kind is not FeatureKind.WASTE:
            yield from _made(plan, kind, decision.feature.string)
        elif decision.nick is not None:
            yield _each_tool(plan, partial(_nick, plan, decision))


def _made(plan, kind: FeatureKind, string: int | None) -> Iterator[Seconds]:
    if kind is FeatureKind.OUTLINE:
        yield _each_tool(plan, partial(_outline, plan))
    elif kind in (FeatureKind.TOP, FeatureKind.CROWN):
        yield _each_tool(plan, partial(_surface, plan))
    elif kind is FeatureKind.ENDS:
        yield _each_tool(plan, partial(_ends, plan))
    else:
        assert kind is FeatureKind.SLOT, kind
        slot = next(s for s in plan.request.part.slots if s.string == string)
        yield _each_tool(plan, partial(_slot, plan, slot))
        if plan.request.stage.leaves_waste:
            yield _each_tool(plan, partial(_opening, plan, slot))


def _each_tool(plan, seconds: Callable[..., float | None]) -> Seconds:
    machine, stuff = plan.request.machine, material(plan.request.material)
    cuts = {t.number: plan_cut(stuff, t, machine, Work.SLOT) for t in machine.tools}
    found = {t.number: seconds(t, cuts[t.number]) for t in machine.tools}
    return {n: s for n, s in found.items() if s is not None}


def _unbent(plan, tool) -> float:
    """How deep a tool may cut within 3 um of bending, mm."""
    request = plan.request
    return plan_cut(material(request.material), tool, request.machine, Work.FINISH).depth


# -- on face -----------------------------------------------------------------------------------


def _outline(plan, tool, cut) -> float | None:
    """A slot around the part, through its thickness; its ends within the bend of a finishing pass.

    That by levels as thin along the ends, or by one more pass along them.
    """
    if tool.shape is not Shape.FLAT:
        return None
    part, thick = plan.request.part, plan.request.blank.y1
    x = np.linspace(0.0, part.length, 401)
    high = part.top.height(x) + part.at(plan.request.stage).raised + LEAVE
    ends, over = float(high[0] + high[-1]), float(np.sum(np.hypot(np.diff(x), np.diff(high))))
    around = ends + over + math.pi * tool.radius
    unbent = min(_unbent(plan, tool), cut.depth)
    again = min(ends * thick * (1 / unbent - 1 / cut.depth), ends if unbent < cut.depth else 0.0)
    return 60 * (around * thick / cut.depth + again) / cut.feed


# -- on edge -----------------------------------------------------------------------------------


def _surface(plan, tool, cut) -> float | None:
    """The waste over the finishing depth at full width and depth, and rows a scallop apart."""
    request = plan.request
    part, target = request.part, request.part.at(request.stage)
    x, y = np.meshgrid(np.linspace(0, part.length, 129), np.linspace(0, request.blank.y1, 65))
    wanted = target.surface.height(x, y)
    rows = _rows(target, tool, x, y, request.blank.y1)
    if rows is None:
        return None
    outlined = any(d.tool for d in plan.decisions if d.feature.kind is FeatureKind.OUTLINE)
    stands = target.raised + part.top.height(x) + LEAVE if outlined else request.blank.z1
    most = min(cut.depth, _unbent(plan, tool))
    waste = float(np.mean(np.maximum(stands - wanted - most, 0.0))) * request.blank.y1
    return 60 * part.length * (waste / (tool.diameter * cut.depth) + rows) / cut.feed


def _rows(target, tool, x, y, thick: float) -> float | None:
    """How many finishing rows it takes from face to face, a part of one included.

    The proof measures a ridge upright: along the normal of a steep flank less may stand.
    """
    scallop, crown = max(SCALLOP, target.ridge), target.surface.section_radius
    lean = np.hypot(1.0, target.surface.gradient(x, y)[1])
    if tool.shape is Shape.BALL:
        steepest = np.linspace(1.0, float(np.max(lean)) + 1e-9, 33)
        steps = [
            step_flat(scallop / s, tool.radius) if math.isinf(crown)
            else step_crown(scallop / s, tool.radius, crown) for s in steepest
        ]  # fmt: skip
        return thick * float(np.mean(lean / np.interp(lean, steepest, steps)))
    if tool.shape is Shape.FLAT and math.isinf(crown):
        fall = math.sqrt(float(np.max(lean)) ** 2 - 1)
        return thick / min(tool.diameter, scallop / max(fall, 1e-9))
    return None


def _ends(plan, tool, cut) -> float | None:
    """Both round ends in levels, down to where the plan leaves them."""
    if tool.shape is not Shape.FLAT:
        return None
    part, request = plan.request.part, plan.request
    (low,) = {
        round(min(m.to[2] for m in o.moves if hasattr(m, "to")), 6)
        for p in plan.programs for o in p.operations if o.name == "ends"
    }  # fmt: skip
    r = part.thickness / 2
    x = np.array([0.0, part.length])
    deep = float(np.sum(part.at(request.stage).surface.height(x, np.full_like(x, r)) - low))
    return 60 * math.pi * (r + tool.radius) * deep / cut.depth / cut.feed


def _slot(plan, slot, tool, cut) -> float | None:
    """A slot under its waste: its section at full width and depth, and the rounds of its floor."""
    if tool.shape not in (Shape.BALL, Shape.TAPERED_BALL):
        return None
    if not SMALLEST <= tool.edge <= slot.width - ROOM:
        return None
    target, big, small = plan.request.part.at(plan.request.stage), slot.radius, tool.tip_radius
    deep = slot.depth_front + target.opened - target.floor_raise
    low = min(deep, big)
    half = math.acos(1 - low / big)
    section = big**2 * half - (big - low) * big * math.sin(half) + 2 * big * (deep - low)
    passes = section / (tool.edge * cut.depth) + _rounds(big, small, half) - 1
    return 60 * max(passes, 1.0) * plan.request.blank.y1 / cut.feed


def _rounds(big: float, small: float, half: float) -> int:
    """The fewest passes round a floor that is ``half`` rad wide on each side of its middle."""
    off = big - small
    turns = np.linspace(0.0, half, 2001)
    rest = small**2 - (off * np.sin(turns)) ** 2
    short = big - off * np.cos(turns) - np.sqrt(np.maximum(rest, 0.0))
    widest = float(turns[(short <= IN_SLOTS) & (rest >= 0)].max())
    return max(1, math.ceil(half / widest - 1e-9))


def _opening(plan, slot, tool, cut) -> float | None:
    """The waste over a slot: one pass wide for a tool that is wider than the slot."""
    part, target = plan.request.part, plan.request.part.at(plan.request.stage)
    left, right = clear_window(part.slots, slot, part.length)
    if tool.edge > right - left:
        return None
    layers = (target.raised - target.opened) / cut.depth
    width = max(1.0, slot.width / tool.edge)
    return 60 * layers * width * plan.request.blank.y1 / cut.feed


def _nick(plan, decision, tool, cut) -> float | None:
    """A nick, one pass at least, with a tool that may cut one."""
    part, stage = plan.request.part, plan.request.stage
    slots = table("cutting")["slots"]
    widest = slots["widest_nick_in_waste"] if stage.leaves_waste else slots["widest_nick"]
    if tool != decision.nick and (tool.shape is Shape.FLAT or tool.edge > widest):
        return None
    slot = next(s for s in part.slots if s.string == decision.feature.string)
    passes = max(1.0, nick_depth(part, slot, tool, stage) / cut.depth)
    return 60 * passes * plan.request.blank.y1 / cut.feed
