"""Which tools cut a nut's slots, waste and nicks together in the least time, changes included.

A slot for itself wants the largest tool that fits it. For all of them together one tool less may be
quicker: what a smaller one takes longer against the change that it saves. Every set of tools is
looked at, each slot made in the quickest way that the set has for it.
"""

from __future__ import annotations

import dataclasses
import functools
import itertools
import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blankcam.data import table
from blankcam.inputs.machine import Profile
from blankcam.inputs.tool import Shape, Tool
from blankcam.machining import slot_passes, slots, tools, waste
from blankcam.machining.decision import (
    ByHand,
    ByMachine,
    Decision,
    Opening,
    Reason,
    ReasonCode,
)
from blankcam.machining.feeds import Cut, Work, plan_cut
from blankcam.machining.kinematics import trapezoid
from blankcam.machining.setup_sheet import Bench
from blankcam.machining.slot_passes import across_ends
from blankcam.parts.curve import Array
from blankcam.parts.part import Part
from blankcam.parts.slot import Slot, clear_window

Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

MOST_SETS = 2000
"""Of so many sets of a size every one is looked at: all sets of up to 13 tools."""
TOOLS_TRIED = 8
"""So many tools are tried for a slot, and to open it, of those that fit, from the largest to the
smallest: between two nearly alike there is little to choose. With 24 balls the slots of four nuts
took at most 2.4 % longer than with all of them tried."""
SAME = 1e-9
"""Seconds under which two sets take the same."""
PAUSE: float = table("cutting")["time"]["pause"]
FLOOR: float = table("cutting")["time"]["floor"]
"""So many times longer than their moves programs are told to take; a change takes what it takes."""
RISE = 1.0
"""mm that a tool rises on its way back to the next pass, about, for choosing between ways."""
TURNED = 0.4
"""Seconds from a pass to the one that comes back beside it, about."""
LEAST_LEFT: float = table("cutting")["slots"]["left_below_waste"]
SLENDEREST: float = table("cutting")["slots"]["slenderest"]
WIDEST_NICK: dict[bool, float] = {
    True: table("cutting")["slots"]["widest_nick_in_waste"],
    False: table("cutting")["slots"]["widest_nick"],
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """One way to make a slot, or its nick."""

    by: ByMachine | ByHand
    seconds: float
    tools: frozenset[int]
    """The numbers of the tools that it needs."""
    at_least: bool = False
    """Whether it may take longer than that: its passes are not worked out yet."""


def chosen(nut: Part, bench: Bench, *, by_file: bool, called: Iterable[int]) -> list[Decision]:
    """How every slot is to be made, from the bass side.

    ``called``: the numbers of the tools that the set-up calls anyway.
    """
    each = slots.chosen(nut, bench, by_file=by_file)
    by_string = {s.string: s for s in nut.slots}
    strings = [by_string[d.string] for d in each]
    ways = [_ways(nut, slot, d, bench) for slot, d in zip(strings, each, strict=True)]
    best = quickest_worked_out(
        ways,
        frozenset(called),
        seconds_of_change(bench.profile) / FLOOR,
        lambda at, way: _worked_out(nut, strings[at], way, bench),
    )
    return [_as_decided(d, way) for d, way in zip(each, best, strict=True)]


def seconds_of_change(profile: Profile) -> float:
    """What one more tool in a set-up costs."""
    return profile.tool_change_seconds + PAUSE + profile.spin_up


def quickest_worked_out(
    ways: Sequence[Sequence[Way]],
    called: frozenset[int],
    change: float,
    worked_out: Callable[[int, Way], Way],
) -> list[Way | None]:
    """As ``quickest``, of ways whose times may be lower bounds.

    Only those are worked out, by their place in ``ways``, that would be chosen as they stand: the
    others take longer by their bounds alone.
    """
    known = [list(each) for each in ways]
    while True:
        best = quickest(known, called, change)
        open_still = [(at, w) for at, w in enumerate(best) if w is not None and w.at_least]
        if not open_still:
            return best
        for at, way in open_still:
            known[at][known[at].index(way)] = worked_out(at, way)


def quickest(
    ways: Sequence[Sequence[Way]], called: frozenset[int], change: float
) -> list[Way | None]:
    """The way for each slot that takes the least together; None where a slot has none.

    ``change``: seconds that each tool costs that is not ``called`` anyway. Of sets that take the
    same the smallest, then the first by number. Every set is looked at while there are not too
    many; of more tools, a set is bettered a tool at a time.
    """
    ranked = [_ranked(each) for each in ways]
    extra = sorted({n for each in ways for w in each for n in w.tools} - called)
    choice = _Choice([each for each in ranked if each], extra, change)
    places = iter(choice.quickest() if choice.ways else ())
    return [each[next(places)] if each else None for each in ranked]


class _Choice:
    """Which ways to make some slots take the least together.

    A set of tools is a row of yes and no, one for each tool that costs a change.
    """

    def __init__(self, ways: Sequence[Sequence[Way]], extra: Sequence[int], change: float) -> None:
        self.ways, self.extra, self.change = ways, extra, change
        self._needs = [np.array([[n in w.tools for n in extra] for w in each]) for each in ways]
        # The place past the last way stands for none, which takes for ever
        self._seconds = [np.array([*(w.seconds for w in each), np.inf]) for each in ways]

    def quickest(self) -> list[int]:
        """The place of the way that is chosen, of each slot."""
        count = len(self.extra)
        least = sum(each[0].seconds for each in self.ways)
        best, found = math.inf, np.ones(count, dtype=bool)
        for size in range(count + 1):
            if least + size * self.change >= best:
                break
            if math.comb(count, size) > MOST_SETS:
                each_for_itself = np.any([needs[0] for needs in self._needs], axis=0)
                found = self._bettered(np.stack([found, each_for_itself]))
                break
            sets = _sets(count, size)
            took = self._seconds_with(sets)
            for k in np.flatnonzero(took < best - SAME).tolist():
                if took[k] < best - SAME:
                    best, found = float(took[k]), sets[k]
        return [int(_first_within(needs, found[None])[0]) for needs in self._needs]

    def _bettered(self, begun: Bools) -> Bools:
        """The quickest set that is come to by adding a tool, leaving one out, or taking another for
        one or two, again and again.
        """
        took = self._seconds_with(begun)
        best, found = float(np.min(took)), begun[int(np.argmin(took))]
        while True:
            one = np.eye(len(found), dtype=bool)
            less, more = one[found], one[~found]
            pairs = [a | b for a, b in itertools.combinations(less, 2)]
            gone = np.array([*less, *pairs], dtype=bool).reshape(-1, len(found))
            exchanged = (found ^ gone)[:, None, :] | more
            near = np.concatenate([found ^ one, exchanged.reshape(-1, len(found))])
            took = self._seconds_with(near)
            k = int(np.argmin(took))
            if not took[k] < best - SAME:
                return np.asarray(found)
            best, found = float(took[k]), near[k]

    def _seconds_with(self, sets: Bools) -> Array:
        """What the quickest ways take together with each set and its changes; inf where a slot has
        none.
        """
        slots = zip(self._needs, self._seconds, strict=True)
        took = sum(seconds[_first_within(needs, sets)] for needs, seconds in slots)
        return np.asarray(took + np.count_nonzero(sets, axis=1) * self.change)


def _first_within(needs: Bools, sets: Bools) -> Ints:
    """The place of the first way that needs no other tools than each set has; past the last one
    where none does.
    """
    lacks = needs.astype(float) @ (~sets).T.astype(float)
    fits = lacks == 0
    return np.where(fits.any(axis=0), fits.argmax(axis=0), len(needs))


@functools.lru_cache(maxsize=256)  # asked for again as times are worked out
def _sets(tools: int, size: int) -> Bools:
    """Every set of that size."""
    some = list(itertools.combinations(range(tools), size))
    found = np.zeros((len(some), tools), dtype=bool)
    if size:
        np.put_along_axis(found, np.array(some), True, axis=1)
    return found


def _ranked(ways: Sequence[Way]) -> list[Way]:
    """The quickest first, without those that a quicker one does with no other tools."""
    found = list[Way]()
    for way in sorted(ways, key=lambda w: w.seconds):
        if not any(quicker.tools <= way.tools for quicker in found):
            found.append(way)
    return found


def _as_decided(decision: Decision, way: Way | None) -> Decision:
    """The decision on a slot with the way that is chosen for it, and why."""
    if way is None or way.by == decision.by:
        return decision
    more = []
    if isinstance(way.by, ByMachine) and isinstance(decision.by, ByMachine):
        if way.by.tool != decision.by.tool:
            values = {"tool": decision.by.tool.number, "edge": decision.by.tool.edge}
            more.append(Reason(code=ReasonCode.FEWER_TOOLS, values=values))
            return dataclasses.replace(
                decision,
                by=way.by,
                reasons=(*more, *_opened_for_speed(way.by), *decision.reasons[1:]),
            )
        more += _opened_for_speed(way.by)
    return dataclasses.replace(decision, by=way.by, reasons=(*decision.reasons, *more))


def _opened_for_speed(by: ByMachine) -> list[Reason]:
    return [Reason(code=ReasonCode.OPENED_FOR_SPEED)] if by.opening is not None else []


# -- the ways of one slot ----------------------------------------------------------------------


def _ways(nut: Part, slot: Slot, decision: Decision, bench: Bench) -> list[Way]:
    """Every way to make a slot, or its nick where the file makes it."""
    if isinstance(decision.by, ByHand):
        return list(_nicks(nut, slot, decision.by, bench))
    found, more = [decision.by], slots.standing_more(nut, slot, bench)
    left_by = functools.cache(functools.partial(waste.standing, nut, slot))
    fine = slots.narrow_enough(slot, bench.profile)
    for tool in _some([t for t in fine if t.edge >= SLENDEREST * slot.width]):
        clear, wrong = slots.fits(nut, slot, tool, bench.profile, bench.stage, more)
        if wrong is None:
            by = slots.by_machine(
                nut, slot, tool, bench.profile, bench.stage, clear=clear, more=more
            )
            found.append(by)
            if not clear:
                found += _opened(nut, slot, by, bench, left_by)
    return [_way(nut, slot, by, bench) for by in found]


def _some(every: Sequence[Tool]) -> list[Tool]:
    """All tools, or ``TOOLS_TRIED`` of them, evenly from the first to the last."""
    count = min(len(every), TOOLS_TRIED)
    return [every[round(k)] for k in np.linspace(0, len(every) - 1, count)]


def _opened(
    nut: Part, slot: Slot, by: ByMachine, bench: Bench, left_by: Callable[..., float]
) -> Iterator[ByMachine]:
    """The ways to make a slot with that tool once the waste over it is opened with a wider one.

    ``left_by``: what a wider tool leaves over the slot, as ``waste.standing`` has it.
    """
    tool = by.tool
    if not bench.stage.leaves_waste or tool.shape not in (Shape.BALL, Shape.FLAT):
        return
    if slots.left_open(nut, slot) < LEAST_LEFT:
        return
    more = slots.standing_more(nut, slot, bench)
    full, cleared = slots.depths(nut, slot, bench.stage, more)
    left, right = clear_window(nut.slots, slot, nut.length)
    for wide in _some(tools.opening_tools(bench.profile, right - left, full - cleared)):
        for narrow in (True, False) if wide.diameter > tool.edge else ():
            depth = cleared + left_by(wide, narrow=narrow)
            if depth < full:
                opening = Opening(tool=wide, narrow=narrow)
                yield dataclasses.replace(by, depth=depth, opening=opening)


def _way(nut: Part, slot: Slot, by: ByMachine, bench: Bench) -> Way:
    """That way with its tools, and the least that it takes."""
    needs = {t.number for t in (by.tool, by.opening and by.opening.tool) if t}
    least = _least_seconds_of_slot(nut, slot, by, bench) + _seconds_of_opening(nut, slot, by, bench)
    return Way(by=by, seconds=least, tools=frozenset(needs), at_least=True)


def _worked_out(nut: Part, slot: Slot, way: Way, bench: Bench) -> Way:
    """That way with its time by its passes."""
    assert isinstance(way.by, ByMachine)
    opening = _seconds_of_opening(nut, slot, way.by, bench)
    took = _seconds_of_slot(nut, slot, way.by, bench) + opening
    return dataclasses.replace(way, seconds=took, at_least=False)


def _least_seconds_of_slot(nut: Part, slot: Slot, by: ByMachine, bench: Bench) -> float:
    """The passes round the slot's floor, and as many over them as its waste takes at least."""
    tool = by.tool
    cut = plan_cut(bench.material, tool, bench.profile, Work.SLOT)
    judged = slot_passes.judged_from(nut, slot, bench.stage)
    deep = by.depth - slots.over_groove(nut, slot)
    rounds = slot_passes.floor_passes(slot, tool.tip_radius, deep, judged)
    full = slot_passes.fewest_passes(slot, tool.tip_radius, deep, cut.depth)
    upper = max(0.0, full - rounds)
    across = _seconds_across(tool, cut, slot.tilt, bench)
    return (rounds + upper) * across + rounds * _seconds_back(bench) + upper * TURNED


def _seconds_of_opening(nut: Part, slot: Slot, by: ByMachine, bench: Bench) -> float:
    if (opening := by.opening) is None:
        return 0.0
    cut = plan_cut(bench.material, opening.tool, bench.profile, Work.SLOT)
    across, more = bench.stock.y1, slots.standing_more(nut, slot, bench)
    narrow = opening.narrow
    return waste.seconds(nut, slot, opening.tool, cut, across, narrow=narrow, more=more)


def _seconds_of_slot(nut: Part, slot: Slot, by: ByMachine, bench: Bench) -> float:
    tool = by.tool
    cut = plan_cut(bench.material, tool, bench.profile, Work.SLOT)
    groove = slot_passes.Groove.of(nut, slot, bench.stage)
    judged = slot_passes.judged_from(nut, slot, bench.stage)
    deep = by.depth - slots.over_groove(nut, slot)
    every = slot_passes.passes(groove, tool.tip_radius, deep, cut.depth, judged)
    there_and_back = sum(both for _, _, both in every)
    back = _seconds_back(bench)
    links = there_and_back * TURNED + (len(every) - there_and_back) * back
    return len(every) * _seconds_across(tool, cut, slot.tilt, bench) + links


def _seconds_across(tool: Tool, cut: Cut, lean: float, bench: Bench) -> float:
    """One pass across a nut."""
    y0, y1 = across_ends(bench.stock, tool, back=False, lean=lean)
    return 60 * (y1 - y0) / cut.feed


def _seconds_back(bench: Bench) -> float:
    """From the end of a pass up, back to the front, and down again, at rapid."""
    rapid, acceleration = bench.profile.rapid, bench.profile.acceleration
    up = trapezoid(RISE, rapid.z / 60, acceleration.z)
    return 2 * up + trapezoid(bench.stock.y1, rapid.y / 60, acceleration.y)


def _nicks(nut: Part, slot: Slot, by: ByHand, bench: Bench) -> Iterator[Way]:
    """The ways to cut a locating nick: with the finest point, or with another that is fine enough.

    Over the finished top a nick may be wider: it is gone when the waste is.
    """
    if by.nick is None:
        return
    for tool in bench.profile.tools:
        fine = tool.shape is not Shape.FLAT and tool.edge <= WIDEST_NICK[bench.stage.leaves_waste]
        if tool == by.nick or (fine and slots.nickable(nut, slot, tool, bench)):
            cut = plan_cut(bench.material, tool, bench.profile, Work.SLOT)
            deep = slots.nick_depth(nut, slot, tool, bench.stage)
            each = _seconds_across(tool, cut, slot.tilt, bench) + _seconds_back(bench)
            took = math.ceil(deep / cut.depth) * each
            nick = dataclasses.replace(by, nick=tool)
            yield Way(by=nick, seconds=took, tools=frozenset({tool.number}))
