"""Rows over a top or a crown against brute force: a tool lowered at every place on a fine grid.

The limits are the project's own (data/proof.toml): 20 um may stay above the part, 5 um may be cut
below it. Surfaces and tools are invented.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from blankcam.inputs import job_file
from blankcam.inputs.tool import Shape, Tool
from blankcam.machining import row_runs, scallops, top, waste
from blankcam.machining.cutter_contact import BRIDGED, Sweep
from blankcam.parts.design import design
from blankcam.parts.frames import Box
from blankcam.parts.stage import Stage
from blankcam.parts.surface import CrownSurface, TopSurface
from blankcam.parts.top_curve import ArcCurve, SmoothCurve
from tests.conftest import demo_job, first_then_long

LEFT, BELOW = 0.02, 0.005


def tool(shape, diameter):
    return Tool(
        number=1, shape=shape, diameter=diameter, flute_length=12.0, reach=12.0, shank=diameter,
        stick_out=15.0,
    )  # fmt: skip


def sweep(surface, tool, length, thickness):
    stock = Box(x0=0.0, x1=length, y0=0.0, y1=thickness, z0=0.0, z1=12.0)
    crown = getattr(surface, "section_radius", math.inf)
    return Sweep(surface=surface, tool=tool, stock=stock, y_low=0.0, y_high=thickness, crown=crown)


def lowered(surface, tool, x, y, lines=241):
    """The lowest tip over (x, y): the highest of what touches any place under the tool."""
    u, v = np.meshgrid(*2 * [np.linspace(-1, 1, lines) * tool.radius])
    inside = u**2 + v**2 <= tool.radius**2
    u, v = u[inside], v[inside]
    under = 0.0
    if tool.shape is Shape.BALL:
        under = tool.radius - np.sqrt(np.maximum(tool.radius**2 - u**2 - v**2, 0.0))
    return float(np.max(surface.height(x + u, y + v) - under))


def left_over(surface, table, xs, ys, passed=None):
    """What all rows leave over the surface at each place, mm, (len(ys), len(xs)).

    ``passed``: the places of each row where the tool was, (m, n); all where None.
    """
    tool, found = table.sweep.tool, []
    for x in xs:
        axes = np.linspace(x - tool.radius, x + tool.radius, 301)
        rows = np.stack([np.interp(axes, table.xs, row) for row in table.y])
        tips = np.stack([np.interp(axes, table.xs, row) for row in table.tips])
        if passed is not None:
            tips[~np.stack([np.interp(axes, table.xs, row) >= 1 for row in passed])] = np.inf
        for y in ys:
            off2 = (axes - x) ** 2 + (rows - y) ** 2
            under = np.zeros_like(off2)
            if tool.shape is Shape.BALL:
                under = tool.radius - np.sqrt(np.maximum(tool.radius**2 - off2, 0.0))
            left = np.where(off2 <= tool.radius**2, tips + under, np.inf)
            found.append(np.min(left) - float(surface.height(np.array(x), np.array(y))))
    return np.array(found).reshape(len(xs), len(ys)).T


@dataclass(frozen=True)
class Waves:
    """Hollows across the whole part, one every ``period`` mm, over a round section."""

    high: float
    period: float
    section_radius: float = 8.0
    middle: float = 1.5

    def height(self, x, y):
        fall = (y - self.middle) ** 2 / (2 * self.section_radius)
        return 9.0 + self.high * np.cos(x * math.tau / self.period) - fall

    def gradient(self, x, y):
        turn = math.tau / self.period
        along = np.broadcast_to(-self.high * turn * np.sin(x * turn), y.shape)
        return along, -(y - self.middle) / self.section_radius

    @property
    def hollow_radius(self):
        """Of the circle that fits the bottom of a hollow, along x."""
        return (self.period / math.tau) ** 2 / self.high


@settings(max_examples=25, deadline=None)
@given(
    st.floats(0.05, 0.4), st.floats(5.0, 12.0), st.sampled_from([1.0, 2.0, 3.0]), st.integers(0, 99)
)
def test_a_ball_over_hollows_is_lowered_until_it_touches_and_no_further(high, period, size, where):
    surface, ball = Waves(high, period), tool(Shape.BALL, size)
    table = sweep(surface, ball, 30.0, 3.0).table([0.4, 1.5, 2.6])
    for k in range(5):
        i = (where * 97 + k * 41) % len(table.xs)
        row = (where + k) % 3
        truth = lowered(surface, ball, table.xs[i], table.ys[row], 481)
        assert table.tips[row, i] == pytest.approx(truth, abs=1e-4)


@pytest.mark.parametrize(
    ("high", "period", "size", "step"),
    first_then_long([(0.15, 6.0, 2.0, 0.3), (0.08, 12.0, 3.0, 0.6), (0.3, 9.0, 1.0, 0.3)]),
)
def test_over_hollows_no_more_is_left_than_is_told(high, period, size, step):
    """By every row, at 0.1 mm along and 0.02 mm across; the least may stand a little aside."""
    surface = Waves(high, period)
    over = sweep(surface, tool(Shape.BALL, size), 30.0, 3.0)
    table = over.table(over.rows(step))
    assert not table.bridged
    xs, ys = np.linspace(0.1, 29.9, 299), np.linspace(0.0, 3.0, 151)
    most = float(np.max(left_over(surface, table, xs, ys)))
    assert most - 0.0006 <= scallops.left_between(table) <= most + 0.0006


@pytest.mark.parametrize("period", [6.0, 9.0])
@pytest.mark.parametrize("over", [0.5, 0.8, 1.5, 2.5])
def test_a_ball_bridges_a_hollow_that_is_rounder_than_itself(period, over):
    """A circle rolls along a cosine's bottom only if it is no larger than the circle there."""
    ball = tool(Shape.BALL, 3.0)
    surface = Waves((period / math.tau) ** 2 / (over * ball.radius), period)
    assert surface.hollow_radius == pytest.approx(over * ball.radius)
    table = sweep(surface, ball, 30.0, 3.0).table([0.4, 1.5, 2.6])
    bottom = 1.5 * period, 1.5
    stands = lowered(surface, ball, *bottom) - float(surface.height(*bottom))
    assert table.bridged == (over < 1)
    assert (stands > BRIDGED) == (over < 1)


@pytest.mark.parametrize("follow", [False, True])
@pytest.mark.parametrize("at", first_then_long([7.0, 22.0, 43.0, 61.5]))
def test_rows_leave_no_more_where_a_ridge_nears_a_face(at, follow):
    """The ridge goes out by 0.9 mm over a single string, between evenly spaced sections."""
    length, thickness = 72.0, 3.2
    ridge = SmoothCurve(
        xs=(0.0, at - 4.0, at, at + 4.0, length), zs=(1.3, 1.3, 2.2, 1.3, 1.3), level_ends=True
    )
    crown = CrownSurface(
        top=ArcCurve(z0=9.0, k=0.0, radius=400.0, middle=length / 2),
        ridge=ridge, length=length, section_radius=2.6,
    )  # fmt: skip
    ball = tool(Shape.BALL, 3.0)
    each = sweep(crown, ball, length, thickness)
    step = top.finishing_step(each, ball)
    rows = each.following_rows(step) if follow else each.rows(step, top.HALF_WAY)
    table = each.table(rows)
    xs, ys = np.linspace(at - 5, at + 5, 41), np.linspace(0.0, thickness, 161)
    left = left_over(crown, table, xs, ys)
    assert np.max(left) <= LEFT
    assert np.min(left) >= -BELOW
    # What is told of the passes is what stands: at crests between places looked at, a little more
    most = float(np.max(as_the_proof_has_it(crown, left, xs, ys)))
    assert most - 0.0001 <= scallops.left_between(table) <= most + 0.0015


def as_the_proof_has_it(surface, left, xs, ys):
    """What is left as data/proof.toml judges it: to the surface up to 5 um aside."""
    x, y = np.meshgrid(xs, ys)
    z = left + surface.height(x, y)
    aside = ((0.0, 0.0), (BELOW, 0.0), (-BELOW, 0.0), (0.0, BELOW), (0.0, -BELOW))
    return np.min([z - surface.height(x + dx, y + dy) for dx, dy in aside], axis=0)


TURNS = (st.floats(0.3, 1.3), st.floats(0.2, 1.4), st.floats(2.0, 4.0), st.floats(3.1, 4.0))


@settings(max_examples=1, deadline=None)
@given(*TURNS)
@example(0.3, 1.4, 2.0, 3.1)  # between two places tried under the ball stood 5 um
@example(1.21875, 1.0703125, 2.0, 3.625)  # a crest between the sections looked at
def test_a_ridge_that_turns_sharply_is_brought_out_or_bridged(low, turn, within, section):
    brought_out_or_bridged(low, turn, within, section)


@pytest.mark.long
@settings(max_examples=40, deadline=None)
@given(*TURNS)
def test_many_ridges_that_turn_sharply_are_brought_out_or_bridged(low, turn, within, section):
    brought_out_or_bridged(low, turn, within, section)


def brought_out_or_bridged(low, turn, within, section):
    """Strings of a course side by side: the ridge goes from one to the other within a few mm."""
    length, thickness = 30.0, 3.2
    at = 10.0
    crown = CrownSurface(
        top=ArcCurve(z0=9.0, k=0.0, radius=400.0, middle=length / 2),
        ridge=SmoothCurve(
            xs=(at, at + within, at + within + 8.0), zs=(low, low + turn, low), level_ends=True
        ),
        length=length, section_radius=section,
    )  # fmt: skip
    table = top.finishing_table(sweep(crown, tool(Shape.BALL, 3.0), length, thickness))
    xs, ys = np.linspace(at - 1, at + within + 1, 33), np.linspace(0.0, thickness, 81)
    left = left_over(crown, table, xs, ys)
    assert np.min(left) >= -BELOW
    if not table.bridged:  # a ball that bridges cuts nothing: such a table is never used
        most = float(np.max(as_the_proof_has_it(crown, left, xs, ys)))
        assert most <= LEFT
        # What is told of all rows is no less than what stands there, and lines may run aside
        assert most <= scallops.left_between(table) + 0.001


def test_what_stands_elsewhere_than_between_a_pass_and_the_next_is_told():
    """Beside a bend: crests of neighbouring passes alone are 0.9 um lower."""
    length, thickness = 40.0, 2.995
    crown = CrownSurface(
        top=ArcCurve(z0=8.8746, k=-0.018, radius=411.24, middle=41.45),
        ridge=SmoothCurve(
            xs=(11.5, 14.1668, 23.79, 26.24, 35.66), zs=(0.4, 1.578, 1.3165, 0.4, 1.888),
            level_ends=True,
        ),
        length=length, section_radius=3.0, raised=0.5,
    )  # fmt: skip
    table = top.finishing_table(sweep(crown, tool(Shape.BALL, 3.0), length, thickness))
    xs, ys = np.linspace(10.8, 14.8, 101), np.linspace(0.0, thickness, 121)
    left = left_over(crown, table, xs, ys)
    most = float(np.max(as_the_proof_has_it(crown, left, xs, ys)))
    assert most <= scallops.left_between(table) <= most + 0.0003


@pytest.mark.parametrize(("low", "share"), [(0.5, 0.8), (1.0, 0.9), (1.6, 1.0)])
def test_rows_that_follow_a_ridge_are_fewer_the_further_it_moves(low, share):
    """From near one face to near the other, or along the middle."""
    length, thickness = 72.0, 3.2
    crown = CrownSurface(
        top=ArcCurve(z0=9.0, k=0.0, radius=400.0, middle=length / 2),
        ridge=SmoothCurve(xs=(0.0, length), zs=(low, thickness - low)),
        length=length, section_radius=3.0,
    )  # fmt: skip
    each = sweep(crown, tool(Shape.BALL, 3.0), length, thickness)
    straight = each.rows(top.finishing_step(each, each.tool), top.HALF_WAY)
    assert len(top.finishing_table(each).y) <= share * len(straight)


@pytest.mark.parametrize("shape", [Shape.FLAT, Shape.BALL])
@pytest.mark.parametrize("slope", [0.0, 0.05, 0.16])
def test_the_rows_of_a_top_leave_no_more_where_it_rises_along_them(shape, slope):
    length, thickness = 45.0, 6.0
    rising = TopSurface(
        top=ArcCurve(z0=8.0, k=slope, radius=184.15, middle=length / 2), length=length,
        tilt=math.radians(9.0) if shape is Shape.BALL else 0.0,
    )  # fmt: skip
    each = sweep(rising, tool(shape, 3.0), length, thickness)
    table = each.table(each.rows(top.finishing_step(each, each.tool), top.HALF_WAY))
    left = left_over(rising, table, np.linspace(0.0, length, 23), np.linspace(0.0, thickness, 81))
    assert np.max(left) <= LEFT
    assert np.min(left) >= -BELOW


@pytest.mark.parametrize("shape", [Shape.FLAT, Shape.BALL])
@pytest.mark.parametrize("radius", [120.0, 184.15, 400.0])
def test_passes_that_turn_beside_an_end_leave_nothing_at_it(shape, radius):
    """There and back over a top that falls toward both ends, with a tool wider than the rest."""
    length, thickness = 38.0, 5.0
    falling = TopSurface(
        top=ArcCurve(z0=8.0, k=0.0, radius=radius, middle=length / 2), length=length, tilt=0.0
    )
    each = sweep(falling, tool(shape, 6.0), length, thickness)
    table = each.table(each.rows(top.finishing_step(each, each.tool), top.HALF_WAY))
    layer = row_runs.Layer(raised=0.0, one_way=False)
    passes = row_runs.row_passes(table, layer, SimpleNamespace(feed=300.0))
    assert any(run.linked for run in passes.runs)
    passed = np.zeros(table.tips.shape, bool)
    for run in passes.runs:
        passed[run.row, run.first : run.last] = True
    ends = np.concatenate([np.linspace(0, 1.5, 16), length - np.linspace(0, 1.5, 16)])
    left = left_over(falling, table, ends, np.linspace(0.0, thickness, 61), passed)
    assert np.max(left) <= LEFT
    assert np.min(left) >= -BELOW


def stands_over(nut, slot, tool, places):
    """What passes across a nut leave over a slot's highest place: the tool set down along them."""
    surface = nut.at(Stage.FINAL).surface
    edge = slot.radius + 0.02
    over = np.linspace(slot.centre - edge, slot.centre + edge, 601)
    along = np.linspace(-tool.radius, tool.radius, 801)
    left = np.full(len(over), np.inf)
    for x in places:
        start = lowered(surface, tool, x, 0.0, 481)
        tips = start - math.tan(surface.tilt) * along
        off2 = (over[:, None] - x) ** 2 + along**2
        under = np.zeros_like(off2)
        if tool.shape is Shape.BALL:
            under = tool.radius - np.sqrt(np.maximum(tool.radius**2 - off2, 0.0))
        met = np.where(off2 <= tool.radius**2, tips + under, np.inf)
        left = np.minimum(left, met.min(axis=1))
    return max(0.0, float(np.max(left) - np.max(surface.height(over, np.zeros_like(over)))))


@pytest.mark.parametrize("narrow", [True, False])
@pytest.mark.parametrize(("shape", "size"), [("flat", 1.5), ("flat", 3.0), ("ball", 2.0)])
@pytest.mark.parametrize("stem", ["concert-steel", "wide-bass"])
def test_what_stands_over_an_opened_slot_is_what_the_tool_leaves(stem, shape, size, narrow):
    found = design(job_file.load(str(demo_job(stem))))
    nut, opener = found.nut, tool(Shape(shape), size)
    seen = 0
    for slot in nut.slots:
        places = waste.pass_places(nut, slot, opener, narrow=narrow)
        said = waste.standing(nut, slot, opener, narrow=narrow)
        assert said == pytest.approx(stands_over(nut, slot, opener, places), abs=0.003)
        seen += said > 0.003
    assert seen
