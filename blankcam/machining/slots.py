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
LEAST_NICK: float = table("cutting")["slots"]["least_nick"]
WITHIN: float = table("cutting")["slots"]["nick_share"]
MOST_NICKED: float = table("cutting")["slots"]["deepest_nick"]
SHANK_ROOM: float = table("cutting")["slots"]["shank_room"]
OVER_WASTE: float = table("cutting")["slots"]["over_waste"]


def choose(
    nut: Part, slot: Slot, profile: Profile, stage: Stage, *, by_file: bool, more: float = 0.0
) -> Decision:
    """The largest ball narrower than the slot whose flutes and neck clear its depth.

    A tapered ball counts by the ball at its tip, and only where its cone leaves the walls alone.
    ``more``: what stands over the stage's top when the slot is cut, mm.
    """
    if by_file:
        return left_to_the_file(slot, profile)
    feature = Feature(kind=FeatureKind.SLOT, string=slot.string)
    refused: list[Reason] = []
    for tool in narrow_enough(slot, profile):
        clear, wrong = fits(nut, slot, tool, profile, stage, more)
        if wrong is None:
            by = by_machine(nut, slot, tool, profile, stage, clear=clear, more=more)
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


def left_because(nut: Part, slot: Slot, bench: Bench, why: Sequence[Reason]) -> Decision:
    """A slot that no machine can cut within its limits, left to the file."""
    return _nickable(nut, slot, _by_file(slot, bench.profile, why), bench)


def standing_more(nut: Part, slot: Slot, bench: Bench) -> float:
    """What stands over the stage's top and its ridges at a slot when it is cut, mm.

    Where the top is the hand's: all of the blank, or of its outline, at the head side, for the
    slot's floor falls toward it.
    """
    target = nut.at(bench.stage)
    if not bench.uncut:
        return max(bench.ridge - target.ridge, 0.0)
    left, right = clear_window(nut.slots, slot, nut.length)
    reach = slot.radius + BESIDE_SLOT
    x = np.linspace(min(left, slot.centre - reach), max(right, slot.centre + reach), 33)
    wanted = target.surface.height(x, np.zeros_like(x)) + target.ridge
    fall = math.tan(max(slot.tilt, 0.0)) * bench.stock.y1
    return max(0.0, float(np.max(bench.stands(x) - wanted)) + fall)


def _nickable(nut: Part, slot: Slot, decision: Decision, bench: Bench) -> Decision:
    """The decision on a slot for the file, without a nick where its tool is too short for one."""
    tool = decision.nick
    return decision if tool is None or nickable(nut, slot, tool, bench) else decision.without_nick()


def nickable(nut: Part, slot: Slot, tool: Tool, bench: Bench) -> bool:
    """Whether a tool cuts a nick that guides a file, and is long enough for what stands there."""
    more, depth = standing_more(nut, slot, bench), nick_depth(nut, slot, tool, bench.stage)
    return depth >= LEAST_NICK and more + depth <= min(tool.flute_length - DEPTH_ROOM, MOST_NICKED)


def by_machine(  # the two last tell how it is cut
    nut: Part,
    slot: Slot,
    tool: Tool,
    profile: Profile,
    stage: Stage,
    *,
    clear: bool,
    more: float = 0.0,
) -> ByMachine:
    """A slot made with that tool; ``clear``: the waste over it must be opened first.

    ``more``: what stands over the stage's top and its ridges, mm.
    """
    opener = _opener(nut, slot, profile, more) if clear else None
    if opener is None:
        return ByMachine(tool=tool, depth=depths(nut, slot, stage, more)[0])
    opening = Opening(tool=opener, narrow=False)
    return ByMachine(tool=tool, depth=_opened(nut, slot, profile, more), opening=opening)


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
    each = list[Decision]()
    for slot in nut.slots:
        more = standing_more(nut, slot, bench)
        one = choose(nut, slot, bench.profile, bench.stage, by_file=by_file, more=more)
        each.append(_nickable(nut, slot, one, bench))
    return tuple(each)


def left_open(nut: Part, slot: Slot) -> float:
    """How deep a rough slot is below the waste opened over it, mm."""
    rough = nut.at(Stage.ROUGH)
    return slot.depth_front + rough.opened - rough.floor_raise


def depths(nut: Part, slot: Slot, stage: Stage, more: float = 0.0) -> tuple[float, float]:
    """From what stands down to the slot's floor, mm: as it is, and with the waste opened.

    ``more``: what stands over the stage's top, mm.
    """
    floor, high = slot_passes.floor_front(nut, slot, stage), _highest(nut, slot, BESIDE_SLOT)
    target = nut.at(stage)
    return high + target.raised + target.ridge + more - floor, high + target.opened - floor


def over_groove(nut: Part, slot: Slot) -> float:
    """How much less stands over the groove itself than beside it, mm."""
    return _highest(nut, slot, BESIDE_SLOT) - _highest(nut, slot, 0.0)


def _highest(nut: Part, slot: Slot, beside: float) -> float:
    """The highest of the finished top over a slot and so far beside it, at the front edge, mm."""
    reach, lean = slot.radius + beside, nut.thickness * math.tan(slot.yaw)
    x = slot.centre + np.linspace(min(lean, 0.0) - reach, max(lean, 0.0) + reach, 9)
    return float(np.max(nut.at(Stage.FINAL).surface.height(x, np.zeros_like(x))))


def _opened(nut: Part, slot: Slot, profile: Profile, more: float) -> float:
    """From what stands once the waste is opened down to a rough slot's floor, mm.

    A ball that opens it leaves its round beside and between its passes.
    """
    cleared, wide = depths(nut, slot, Stage.ROUGH)[1], _opener(nut, slot, profile, more)
    over = waste.standing(nut, slot, wide, narrow=False) if wide is not None else 0.0
    return cleared + over


def _opener(nut: Part, slot: Slot, profile: Profile, more: float) -> Tool | None:
    """The tool that opens the waste over a slot, if there is one."""
    full, cleared = depths(nut, slot, Stage.ROUGH, more)
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
    nut: Part, slot: Slot, tool: Tool, profile: Profile, stage: Stage, more: float = 0.0
) -> tuple[bool, Reason | None]:
    """Whether the waste must be cleared first, and what is wrong with the tool, if anything."""
    if (unlike := _no_round_floor(slot, tool)) is not None:
        return False, unlike
    full, cleared = depths(nut, slot, stage, more)
    if stage.leaves_waste:
        cleared = _opened(nut, slot, profile, more)
    straight = taper.widens(slot.radius, tool, full) <= taper.WALL
    if straight and tool.flute_length >= full + DEPTH_ROOM and full <= DEEPEST * tool.edge:
        if tool.reach >= full + DEPTH_ROOM:
            return False, None
        need = full + DEPTH_ROOM
        return False, Reason.about(tool, ReasonCode.SHORT_REACH, reach=tool.reach, need=need)
    below = taper.widens(slot.radius, tool, cleared) <= taper.WALL
    enters = stage.leaves_waste and below and _fits_opened(nut, slot, tool, full, cleared)
    if enters and _opener(nut, slot, profile, more):
        return True, None
    if not straight and not below:
        widens = taper.widens(slot.radius, tool, cleared if stage.leaves_waste else full)
        deepest = taper.deepest(slot.radius, tool)
        return False, Reason.about(tool, ReasonCode.WIDE_CONE, widens=widens, deepest=deepest)
    flutes = tool.flute_length
    return False, Reason.about(tool, ReasonCode.SHORT_FLUTES, flutes=flutes, depth=full)


def _no_round_floor(slot: Slot, tool: Tool) -> Reason | None:
    """Why a tool makes no round floor in a slot, however deep; None where it does."""
    if tool.edge < SMALLEST - tool.diameter_within:
        return Reason.about(tool, ReasonCode.TOO_SMALL, least=SMALLEST)
    high = slot.radius - math.sqrt(slot.radius**2 - tool.tip_radius**2)
    if tool.shape is Shape.FLAT and high > slot_passes.FLOOR_CUSP:
        return Reason.about(tool, ReasonCode.FLAT_FLOOR, high=high)
    return None


def _fits_opened(nut: Part, slot: Slot, tool: Tool, full: float, cleared: float) -> bool:
    """Whether a tool, its cone and its shank go into a slot once the waste over it is opened.

    ``full``, ``cleared``: from what stands down to the floor before and after, mm.
    """
    left, right = clear_window(nut.slots, slot, nut.length)
    room = min(slot.centre - left, right - slot.centre)
    off = max(slot.radius - tool.tip_radius, 0.0)
    aside = max(SHANK_ROOM, off if tool.reach + off < full + OVER_WASTE else 0.0)
    shank_fits = tool.reach >= full + DEPTH_ROOM or tool.shank / 2 + aside <= room
    long = tool.flute_length >= cleared + DEPTH_ROOM and cleared <= DEEPEST * tool.edge
    return long and shank_fits and room >= taper.aside(slot.radius, tool, full) + SHANK_ROOM


def nick_depth(nut: Part, slot: Slot, tool: Tool, stage: Stage) -> float:
    """How deep a nick may go, mm: in the waste of its slot, and within the slot below it.

    Below what waste may be opened to it is never wider than the slot and never as deep; in the
    waste above never wider than may be opened. Where the top rises across it, a nick is wider
    there.
    """
    target, left_right = nut.at(stage), clear_window(nut.slots, slot, nut.length)
    raised = target.raised - target.opened
    opening = min(_opening(nut, slot, stage), tool.radius)
    within = _room_under(nut, slot, tool, opening)
    floor = max(slot.depth_front + target.opened - target.floor_raise, 0.0)
    depth = raised + WITHIN * min(max(within, 0.0), floor)
    if raised:
        room = min(slot.centre - left_right[0], left_right[1] - slot.centre)
        depth = min(depth, WITHIN * max(_room_under(nut, slot, tool, room), 0.0))
    return min(NICK, depth)


def _room_under(nut: Part, slot: Slot, tool: Tool, beyond: float) -> float:
    """How deep a tool may go below the top at a slot to cut nothing ``beyond`` mm from it."""
    off = np.linspace(min(beyond, tool.radius), tool.radius, 13)
    x = slot.centre + np.stack([-off, off])
    rise = nut.at(Stage.FINAL).surface.height(x, np.zeros_like(x)).max(axis=0)
    top = top_at(nut, slot.centre, Stage.FINAL)
    rises: list[float] = (rise - top).tolist()
    return min(tool.height_at(o) - r for o, r in zip(off.tolist(), rises, strict=True))


def _opening(nut: Part, slot: Slot, stage: Stage) -> float:
    """Half the width of the stage's groove where it meets the opened waste, mm.

    A thin string's slot is shallower than its own radius: its round floor is all there is.
    """
    target = nut.at(stage)
    depth = max(slot.depth_front + target.opened - target.floor_raise, 0.0) * math.cos(slot.tilt)
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
