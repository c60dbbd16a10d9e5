"""The tools of a nut chosen together: against every combination of ways, and against the plan."""

from __future__ import annotations

import dataclasses
import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blankcam.inputs import job_file
from blankcam.machining import tool_set
from blankcam.machining.decide import decide
from blankcam.machining.decision import ByHand
from blankcam.machining.tool_set import Way, quickest, quickest_worked_out, seconds_of_change
from blankcam.parts.design import design
from blankcam.parts.stage import Stage
from blankcam.workflows.request import machine_of, request_of
from tests.conftest import EACH_DEMO_JOB
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
