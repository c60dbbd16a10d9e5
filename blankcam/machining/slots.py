"""The slots of a nut: which tool makes each and why, or that it is left to the file."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np

from blankcam.data import table
from blankcam.inputs.machine import Profile
from blankcam.inputs.tool import NICK, Shape, Tool
from blankcam.machining import slot_passes, taper, tools, waste
from blankcam.machining.decision import (
    ByHand,
    ByMachine,
    Decision,
    Opening,
    Reason,
    ReasonCode,
)
from blankcam.machining.setup_sheet import Bench
from blankcam.machining.slot_passes import across_ends
from blankcam.parts.part import Feature, FeatureKind, Part
from blankcam.parts.slot import Slot, clear_window
from blankcam.parts.stage import Stage

SIDE_ROOM: float = table("cutting")["slots"]["side_room"]
SMALLEST: float = table("cutting")["slots"]["smallest_tool"]
DEPTH_ROOM: float = table("cutting")["slots"]["flute_room"]
BESIDE_SLOT: float = table("cutting")["slots"]["measured_beside"]
DEEPEST: float = table("cutting")["slots"]["deepest"]
SHANK_ROOM: float = table("cutting")["slots"]["shank_room"]
OVER_WASTE: float = table("cutting")["slots"]["over_waste"]


def choose(nut: Part, slot: Slot, profile: Profile, stage: Stage, *, by_file: bool) -> Decision:
    """The largest ball narrower than the slot whose flutes and neck clear its depth.

    A tapered ball counts by the ball at its tip, and only where its cone leaves the walls alone.
    """
    if by_file:
        return left_to_the_file(slot, profile)
    feature = Feature(kind=FeatureKind.SLOT, string=slot.string)
    refused: list[Reason] = []
    for tool in narrow_enough(slot, profile):
        clear, wrong = fits(nut, slot, tool, profile, stage)
        if wrong is None:
            by = by_machine(nut, slot, tool, profile, stage, clear=clear)
            return Decision(feature=feature, by=by, reasons=(_largest(slot, by), *refused))
        refused.append(wrong)
    return _by_file(slot, profile, refused or [_none_narrow(slot, profile)])


def left_to_the_file(slot: Slot, profile: Profile) -> Decision:
    """A slot that the job, or a machine without programs, leaves to the file."""
    return _by_file(slot, profile, [Reason(code=ReasonCode.LEFT_BY_JOB)])


def _by_file(slot: Slot, profile: Profile, why: Sequence[Reason]) -> Decision:
    return Decision(
        feature=Feature(kind=FeatureKind.SLOT, string=slot.string),
        by=ByHand(nick=_nicker(profile)),
        reasons=(*why, *_nick_only(profile)),
    )


def by_machine(
    nut: Part, slot: Slot, tool: Tool, profile: Profile, stage: Stage, *, clear: bool
) -> ByMachine:
    """A slot made with that tool; ``clear``: the waste over it must be opened first."""
    opener = _opener(nut, slot, profile) if clear else None
    if opener is None:
        return ByMachine(tool=tool, depth=depths(nut, slot, stage)[0])
    opening = Opening(tool=opener, narrow=False)
    return ByMachine(tool=tool, depth=_opened(nut, slot, profile), opening=opening)


def _largest(slot: Slot, by: ByMachine) -> Reason:
    tapered = by.tool.shape is Shape.TAPERED_BALL
    return Reason(
        code=ReasonCode.LARGEST_TIP if tapered else ReasonCode.LARGEST_BALL,
        values={
            "limit": slot.width - SIDE_ROOM,
            "flutes": by.tool.flute_length,
            "depth": by.depth,
            "opened": int(by.opening is not None),
        },
    )


def chosen(nut: Part, bench: Bench, *, by_file: bool) -> tuple[Decision, ...]:
    """How every slot would be made for itself, from the bass side."""
    return tuple(choose(nut, s, bench.profile, bench.stage, by_file=by_file) for s in nut.slots)


def left_open(nut: Part, slot: Slot) -> float:
    """How deep a rough slot is below the finished top, mm."""
    return slot.depth_front - nut.at(Stage.ROUGH).floor_raise


def depths(nut: Part, slot: Slot, stage: Stage) -> tuple[float, float]:
    """From what stands down to the slot's floor, mm: uncleared, and cleared to the finished top."""
    floor, high = slot_passes.floor_front(nut, slot, stage), _highest(nut, slot, BESIDE_SLOT)
    target = nut.at(stage)
    return high + target.raised + target.ridge - floor, high - floor


def over_groove(nut: Part, slot: Slot) -> float:
    """How much less stands over the groove itself than beside it, mm."""
    return _highest(nut, slot, BESIDE_SLOT) - _highest(nut, slot, 0.0)


def _highest(nut: Part, slot: Slot, beside: float) -> float:
    """The highest of the finished top over a slot and so far beside it, at the front edge, mm."""
    reach, lean = slot.radius + beside, nut.thickness * math.tan(slot.yaw)
    x = slot.centre + np.linspace(min(lean, 0.0) - reach, max(lean, 0.0) + reach, 9)
    return float(np.max(nut.at(Stage.FINAL).surface.height(x, np.zeros_like(x))))


def _opened(nut: Part, slot: Slot, profile: Profile) -> float:
    """From what stands once the waste is opened down to a rough slot's floor, mm.

    A ball that opens it leaves its round beside and between its passes.
    """
    cleared, wide = depths(nut, slot, Stage.ROUGH)[1], _opener(nut, slot, profile)
    over = waste.standing(nut, slot, wide, narrow=False) if wide is not None else 0.0
    return cleared + over


def _opener(nut: Part, slot: Slot, profile: Profile) -> Tool | None:
    """The tool that opens the waste over a slot, if there is one."""
    full, cleared = depths(nut, slot, Stage.ROUGH)
    left, right = clear_window(nut.slots, slot, nut.length)
    return tools.opening_tool(profile, right - left, full - cleared)


def lowest_of_nick(nut: Part, slot: Slot, tool: Tool, bench: Bench) -> float:
    """The lowest z that a tool's tip is sent to in a nick: where it ends."""
    y1 = across_ends(bench.stock, tool, back=False, lean=slot.tilt)[1]
    rise = tool.tip_radius * (1 / math.cos(slot.tilt) - 1)
    depth = nick_depth(nut, slot, tool, bench.stage)
    return top_at(nut, slot.centre, bench.stage) + rise - depth - math.tan(slot.tilt) * y1


def top_at(nut: Part, x: float, stage: Stage) -> float:
    """Height of the top at the front edge."""
    return float(nut.at(stage).surface.height(np.array(x), np.array(0.0)))


def _candidates(profile: Profile) -> list[Tool]:
    return sorted(
        (t for t in profile.tools if t.shape is not Shape.VEE),
        key=lambda t: (-t.edge, t.shape is Shape.TAPERED_BALL, t.number),
    )


def _nick_only(profile: Profile) -> Iterator[Reason]:
    """A vee is no tool for a slot: the string would lie on its point."""
    for tool in profile.tools:
        if tool.shape is Shape.VEE:
            yield Reason(code=ReasonCode.ONLY_NICKS, values={"tool": tool.number})


def narrow_enough(slot: Slot, profile: Profile) -> list[Tool]:
    """The tools that go into a slot with room beside them, the largest first."""
    return [t for t in _candidates(profile) if t.edge <= slot.width - SIDE_ROOM]


def _none_narrow(slot: Slot, profile: Profile) -> Reason:
    wide = _candidates(profile)
    if not wide:
        return Reason(code=ReasonCode.NO_BALL)
    return Reason(
        code=ReasonCode.ALL_TOO_WIDE,
        values={"least": wide[-1].edge, "width": slot.width, "room": SIDE_ROOM},
    )


def fits(
    nut: Part, slot: Slot, tool: Tool, profile: Profile, stage: Stage
) -> tuple[bool, Reason | None]:
    """Whether the waste must be cleared first, and what is wrong with the tool, if anything."""
    full, cleared = depths(nut, slot, stage)
    if stage.leaves_waste:
        cleared = _opened(nut, slot, profile)

    def wrong(code: ReasonCode, **values: float) -> tuple[bool, Reason]:
        named: dict[str, float | int | str] = {
            "tool": tool.number,
            "shape": str(tool.shape),
            "edge": tool.edge,
        }
        return False, Reason(code=code, values=named | values)

    if tool.edge < SMALLEST:
        return wrong(ReasonCode.TOO_SMALL, least=SMALLEST)
    r = slot.width / 2
    high = r - math.sqrt(r**2 - tool.tip_radius**2)
    if tool.shape is Shape.FLAT and high > slot_passes.FLOOR_CUSP:
        return wrong(ReasonCode.FLAT_FLOOR, high=high)
    straight = taper.widens(r, tool, full) <= taper.WALL
    if straight and tool.flute_length >= full + DEPTH_ROOM and full <= DEEPEST * tool.edge:
        if tool.reach >= full + DEPTH_ROOM:
            return False, None
        return wrong(ReasonCode.SHORT_REACH, reach=tool.reach, need=full + DEPTH_ROOM)
    below = taper.widens(r, tool, cleared) <= taper.WALL
    if stage.leaves_waste and below and tool.flute_length >= cleared + DEPTH_ROOM:
        left, right = clear_window(nut.slots, slot, nut.length)
        room = min(slot.centre - left, right - slot.centre)
        off = max(r - tool.tip_radius, 0.0)
        aside = max(SHANK_ROOM, off if tool.reach + off < full + OVER_WASTE else 0.0)
        shank_fits = tool.reach >= full + DEPTH_ROOM or tool.shank / 2 + aside <= room
        widest = taper.aside(r, tool, full)
        tool_fits = cleared <= DEEPEST * tool.edge and room >= widest + SHANK_ROOM
        if shank_fits and tool_fits and _opener(nut, slot, profile):
            return True, None
    if not straight and not below:
        widens = taper.widens(r, tool, cleared if stage.leaves_waste else full)
        return wrong(ReasonCode.WIDE_CONE, widens=widens, deepest=taper.deepest(r, tool))
    return wrong(ReasonCode.SHORT_FLUTES, flutes=tool.flute_length, depth=full)


def nick_depth(nut: Part, slot: Slot, tool: Tool, stage: Stage) -> float:
    """How deep a nick may go: never wider than the slot where it meets the finished top, mm.

    Where the top rises across the slot, the nick meets it higher and wider on that side.
    """
    opening = min(_opening(nut, slot, stage), tool.radius)
    beside = (top_at(nut, slot.centre + side * opening, Stage.FINAL) for side in (-1, 1))
    rise = max(*beside) - top_at(nut, slot.centre, Stage.FINAL)
    within = max(tool.height_at(opening) - max(rise, 0.0), 0.0)
    waste = top_at(nut, slot.centre, stage) - top_at(nut, slot.centre, Stage.FINAL)
    return min(NICK, waste + 0.8 * within)


def _opening(nut: Part, slot: Slot, stage: Stage) -> float:
    """Half the width of the stage's groove where it meets the finished top, mm.

    A thin string's slot is shallower than its own radius: its round floor is all there is.
    """
    depth = max(slot.depth_front - nut.at(stage).floor_raise, 0.0) * math.cos(slot.tilt)
    short = max(slot.radius - depth, 0.0)
    return math.sqrt(slot.radius**2 - short**2)


def _nicker(profile: Profile) -> Tool | None:
    pointed = [t for t in profile.tools if t.shape in (Shape.BALL, Shape.VEE, Shape.TAPERED_BALL)]
    return min(pointed, key=lambda t: (t.tip_radius, t.number), default=None)


def lowest(nut: Part, slot: Slot, tool: Tool, bench: Bench) -> float:
    """The lowest z that a tool's tip is sent to in a slot: where its last pass ends."""
    groove = slot_passes.Groove.of(nut, slot, bench.stage)
    y1 = across_ends(bench.stock, tool, back=False, lean=abs(slot.tilt) + abs(slot.yaw))[1]
    return groove.place(tool.tip_radius, 0.0, tool.tip_radius, y1)[2]
