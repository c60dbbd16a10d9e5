"""The tools of a nut chosen together: against every combination of ways, and against the plan."""

from __future__ import annotations

import dataclasses
import itertools
import math

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from blankcam.inputs import job_file
from blankcam.inputs.tool import Shape
from blankcam.machining import tool_set
from blankcam.machining.decide import decide
from blankcam.machining.decision import ByHand
from blankcam.machining.tool_set import Way, quickest, quickest_worked_out, seconds_of_change
from blankcam.parts.design import design
from blankcam.parts.part import FeatureKind
from blankcam.parts.stage import Stage
from blankcam.workflows.request import machine_of, request_of
from tests.conftest import EACH_DEMO_JOB, STEEL, demo_job, first_then_long
from tests.proved import plan_of


@st.composite
def ways(draw):
    """One to four ways of up to four slots, each with one or two of six tools."""
    one = st.builds(
        Way,
        by=st.just(ByHand()),
        seconds=st.floats(0.1, 100.0),
        tools=st.frozensets(st.integers(1, 6), min_size=1, max_size=2),
    )
    return draw(st.lists(st.lists(one, min_size=1, max_size=4), min_size=1, max_size=4))


@settings(max_examples=100, deadline=None)
@given(ways=ways(), called=st.frozensets(st.integers(1, 6), max_size=2), change=st.floats(0, 100))
@pytest.mark.property
def test_no_other_ways_take_less_together(ways, called, change):
    """Every combination of one way a slot, its tools counted once each."""

    def took(some):
        extra = frozenset().union(*(w.tools for w in some)) - called
        return sum(w.seconds for w in some) + change * len(extra)

    best = min(map(took, itertools.product(*ways)))
    assert took(quickest(ways, called, change)) == pytest.approx(best)


@settings(
    max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(ways=ways(), called=st.frozensets(st.integers(1, 6), max_size=2), change=st.floats(0, 100))
@pytest.mark.property
def test_of_too_many_sets_none_is_quicker_by_one_tool(monkeypatch, ways, called, change):
    """Than what is found by bettering: with one more, one less, or another in its place."""
    monkeypatch.setattr(tool_set, "MOST_SETS", 1)
    found = quickest(ways, called, change)

    def took(have):
        """Seconds of each slot's quickest way with these tools and those called, and changes."""
        each = ([w.seconds for w in some if w.tools <= have | called] for some in ways)
        return sum(min(some, default=math.inf) for some in each) + change * len(have)

    have = frozenset().union(*(w.tools for w in found)) - called
    chosen = sum(w.seconds for w in found) + change * len(have)
    every = frozenset().union(*(w.tools for some in ways for w in some)) - called
    near = [have ^ {n} for n in every]
    near += [have - {a} | {b} for a in have for b in every - have]
    assert chosen <= min(map(took, [have, *near])) + 1e-6


def test_one_tool_takes_the_place_of_two(monkeypatch):
    """It takes a second longer in each of two slots, and a change takes five."""
    monkeypatch.setattr(tool_set, "MOST_SETS", 1)

    def way(seconds, number):
        return Way(by=ByHand(), seconds=seconds, tools=frozenset({number}))

    found = quickest([[way(10, 1), way(11, 3)], [way(10, 2), way(11, 3)]], frozenset(), 5.0)
    assert [set(w.tools) for w in found] == [{3}, {3}]
    called = quickest([[way(10, 1), way(11, 9)], [way(10, 2), way(11, 9)]], frozenset({9}), 1.5)
    assert [set(w.tools) for w in called] == [{9}, {9}]  # no other tool at all


def with_balls(profile, count):
    """The machine with so many ball tools from 0.4 to 3 mm for its own."""
    ball = next(t for t in profile.tools if t.shape is Shape.BALL)
    balls = [
        dataclasses.replace(
            ball, number=n, diameter=d, flute_length=3 * d, reach=3 * d + 3, stick_out=3 * d + 6
        )
        for n, d in enumerate(np.linspace(0.4, 3.0, count).tolist(), start=1)
    ]
    return dataclasses.replace(profile, tools=tuple(balls))


def test_a_few_tools_tried_for_a_slot_do_nearly_as_well_as_all(monkeypatch):
    """On the job and the machine where fewer would lose the most."""
    found = design(job_file.load(str(demo_job("wide-bass"))))
    profile = with_balls(machine_of(found.job, "light-router"), 24)
    real, times = quickest_worked_out, []

    def watched(ways, called, change, worked_out):
        best = real(ways, called, change, worked_out)
        extra = frozenset().union(*(w.tools for w in best)) - called
        times.append(sum(w.seconds for w in best) + change * len(extra))
        return best

    monkeypatch.setattr(tool_set, "quickest_worked_out", watched)
    for tried in (tool_set.TOOLS_TRIED, 24):
        monkeypatch.setattr(tool_set, "TOOLS_TRIED", tried)
        decide(request_of(found, "nut", profile, Stage.ROUGH))
    few, every = times
    assert every <= few <= 1.04 * every


@pytest.mark.parametrize("count", first_then_long([24, 150]))
def test_of_a_cabinet_full_of_tools_the_slots_are_made(count):
    """Sets of them are too many to look at each: 2 to the power of 24 are 17 million."""
    found = design(job_file.load(str(STEEL)))
    full = with_balls(machine_of(found.job, "bench-mill"), count)
    made = decide(request_of(found, "nut", full, Stage.ROUGH)).by(FeatureKind.SLOT)
    wide = {s.string for s in found.nut.slots if s.width > 0.5}
    assert {d.string for d in made if d.tool} >= wide
    assert len({d.tool.number for d in made if d.tool}) < len(wide)  # shared: a change takes long


@pytest.mark.parametrize("path", EACH_DEMO_JOB)
@pytest.mark.parametrize("machine", ["bench-mill", "light-router"])
def test_a_tool_is_called_once_in_a_set_up(path, machine):
    """The design's rule; the changes are what the time of a set-up is most of on a light router."""
    found = design(job_file.load(str(path)))
    profile = machine_of(found.job, machine)
    assert seconds_of_change(profile) >= profile.tool_change_seconds
    for stage in Stage:
        numbers = [
            o.tool.number
            for p in plan_of(found, found.nut, profile, stage).programs
            if p.setup == "edge"
            for o in p.operations
        ]
        calls = [n for n, _ in itertools.groupby(numbers)]
        assert len(calls) == len(set(calls))


@settings(max_examples=100, deadline=None)
@given(
    ways=ways(),
    shares=st.lists(st.floats(0.0, 1.0), min_size=16, max_size=16),
    change=st.floats(0, 100),
)
@pytest.mark.property
def test_ways_known_by_their_least_alone_give_the_same_choice(ways, shares, change):
    """As good as with every time worked out, and no way is chosen by a bound."""
    share = iter(shares)
    bounds, exact = [], {}
    for at, each in enumerate(ways):
        bounds.append([])
        for k, way in enumerate(each):
            named = frozenset({*way.tools, 100 + 4 * at + k})  # a tool of its own names each
            exact[named] = dataclasses.replace(way, tools=named)
            less = dataclasses.replace(
                exact[named], seconds=way.seconds * next(share), at_least=True
            )
            bounds[at].append(less)
    called = frozenset(range(100, 200))
    found = quickest_worked_out(bounds, called, change, lambda _, way: exact[way.tools])
    whole = quickest([[exact[w.tools] for w in each] for each in bounds], called, change)
    assert all(not way.at_least for way in found)

    def took(some):
        extra = frozenset().union(*(w.tools for w in some)) - called
        return sum(w.seconds for w in some) + change * len(extra)

    assert took(found) == pytest.approx(took(whole))


@pytest.mark.parametrize("machine", ["bench-mill", "light-router"])
@pytest.mark.parametrize("path", EACH_DEMO_JOB)
def test_no_slot_takes_less_than_the_least_reckoned(path, machine, monkeypatch):
    """Of every way that is worked out, by its passes."""
    seen = []

    def watched(nut, slot, way, bench):
        seen.append((way, worked_out(nut, slot, way, bench)))
        return seen[-1][1]

    worked_out = tool_set._worked_out
    monkeypatch.setattr(tool_set, "_worked_out", watched)
    found = design(job_file.load(str(path)))
    for stage in Stage:
        decide(request_of(found, "nut", machine_of(found.job, machine), stage))
    assert seen
    for least, exact in seen:
        assert least.seconds <= exact.seconds + 1e-9, least
