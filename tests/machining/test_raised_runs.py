"""Raised passes against brute force: what stands is lowered pass by pass on a grid ten times finer.

The limits are what a tool may cut at once; surfaces, tools and limits are invented.
"""

import math
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blankcam.inputs.tool import Shape
from blankcam.machining import raised_runs, row_runs, surface_passes
from blankcam.parts.frames import Box
from blankcam.parts.surface import CrownSurface, TopSurface
from blankcam.parts.top_curve import ArcCurve, SmoothCurve
from tests.machining.test_surface_rows import Sweep, tool

LENGTH = 12.0
SHARES = 4


def deepest(passes, sections, lines=1001):
    """How deep each run cuts at most over these sections across the blank, mm, in their order."""
    table = passes.table
    sweep, r, xs = table.sweep, table.sweep.tool.radius, table.xs
    y = np.linspace(sweep.stock.y0, sweep.stock.y1, lines)
    stands = np.full((len(sections), lines), sweep.stock.z1)
    found = []
    for run in passes.runs:
        along = np.arange(run.first, run.last)
        deep = 0.0
        for k, x in enumerate(sections):
            axes = np.linspace(max(x - r, xs[run.first]), min(x + r, xs[run.last - 1]), 61)
            tips = np.interp(axes, xs[along], table.tips[run.row, along]) + run.raised
            rows = np.interp(axes, xs[along], table.y[run.row, along])
            off2 = (axes - x)[:, None] ** 2 + (y - rows[:, None]) ** 2
            under = np.zeros_like(off2)
            if sweep.tool.shape is Shape.BALL:
                under = r - np.sqrt(np.maximum(r**2 - off2, 0.0))
            left = np.where(off2 < r**2, tips[:, None] + under, np.inf).min(axis=0)
            deep = max(deep, float(np.max(stands[k] - left)))
            stands[k] = np.minimum(stands[k], left)
        found.append(deep)
    over = sweep.surface.height(np.array(sections)[:, None], y)
    return found, float(np.max(stands - over))


def passes_over(
    surface, diameter, thickness, high, step, middle, most, full=None, shape=Shape.BALL
):
    """The passes of a tool over a surface under so much stock, one no deeper than ``most``."""
    ball = tool(shape, diameter)
    crown = getattr(surface, "section_radius", math.inf)
    stock = Box(x0=0.0, x1=LENGTH, y0=0.0, y1=thickness, z0=0.0, z1=high)
    each = Sweep(surface=surface, tool=ball, stock=stock, y_low=0.0, y_high=thickness, crown=crown)
    table = each.table(each.rows(step * diameter))
    layer = row_runs.Layer(raised=0.0, one_way=False, middle=min(middle, len(table.ys) - 1))
    passes = row_runs.row_passes(table, layer, SimpleNamespace(feed=300.0))
    depths = raised_runs.Depths(most=most, full=full or most, leave=0.05, shares=SHARES)
    found = raised_runs.shared(passes, depths, layer.middle)
    if found is not None:
        found = raised_runs.looked_at_closely(found, passes, depths, layer.middle)
    return passes, found


def judged(plain, passes, most):
    """No pass is deeper than it may be, and no more is left than by finishing passes alone."""
    if passes is None:
        return
    sections = np.linspace(1.0, LENGTH - 1.0, 5)
    found, left = deepest(passes, sections)
    assert max(found) <= most + 1e-6
    assert left == pytest.approx(deepest(plain, sections)[1], abs=1e-6)


TOPS = (
    st.sampled_from([1.0, 2.0, 3.0]), st.floats(2.5, 6.0), st.floats(0.5, 4.0),
    st.floats(0.1, 0.35), st.integers(0, 9), st.floats(0.4, 1.3), st.floats(0.0, 12.0),
)  # fmt: skip
CROWNS = (
    st.floats(2.4, 3.3), st.floats(0.3, 4.0), st.floats(0.05, 0.15), st.integers(0, 15),
    st.floats(0.4, 1.3),
)  # fmt: skip


def over_a_top(diameter, thickness, over, step, middle, most, tilt):
    falling = TopSurface(
        top=ArcCurve(z0=6.0, k=0.005, radius=300.0, middle=LENGTH / 2),
        length=LENGTH, tilt=math.radians(tilt),
    )  # fmt: skip
    judged(*passes_over(falling, diameter, thickness, 6.0 + over, step, middle, most), most)


def over_a_crown(thickness, over, step, middle, most):
    crown = CrownSurface(
        top=ArcCurve(z0=6.0, k=0.0, radius=300.0, middle=LENGTH / 2),
        ridge=SmoothCurve(xs=(0.0, LENGTH), zs=(0.4 * thickness, 0.6 * thickness)),
        length=LENGTH, section_radius=3.0,
    )  # fmt: skip
    judged(*passes_over(crown, 3.0, thickness, 6.0 + over, step, middle, most), most)


@pytest.mark.property
@settings(deadline=None, max_examples=15)
@given(st.tuples(*TOPS))
def test_no_pass_over_a_top_is_deeper_than_it_may_be(drawn):
    over_a_top(*drawn)


@pytest.mark.property
@settings(deadline=None, max_examples=15)
@given(st.tuples(*CROWNS))
def test_no_pass_over_a_crown_is_deeper_than_it_may_be(drawn):
    over_a_crown(*drawn)


@pytest.mark.long
@settings(deadline=None, max_examples=300)
@given(st.one_of(st.tuples(*TOPS), st.tuples(*CROWNS)))
def test_no_pass_of_many_is_deeper_than_it_may_be(drawn):
    (over_a_top if len(drawn) == len(TOPS) else over_a_crown)(*drawn)


@pytest.mark.parametrize(
    ("shape", "diameter", "thickness", "high", "step", "middle", "most", "full", "tilt"),
    [
        (Shape.BALL, 3.0, 5.47, 8.41, 0.18, 7, 0.98, 1.26, 0.0),
        (Shape.BALL, 3.0, 5.41, 8.18, 0.19, 9, 1.18, 1.53, 9.0),
        (Shape.BALL, 1.0, 4.04, 7.77, 0.33, 8, 1.06, 1.30, 5.0),
        (Shape.BALL, 2.0, 2.65, 8.26, 0.39, 9, 0.82, 1.14, 0.0),
        (Shape.FLAT, 3.0, 5.25, 7.33, 0.28, 3, 0.87, 1.16, 0.0),
        (Shape.FLAT, 2.0, 4.81, 7.57, 0.32, 2, 1.17, 1.78, 0.0),
        (Shape.FLAT, 1.0, 2.79, 6.54, 0.10, 4, 0.52, 0.55, 0.0),
        (Shape.FLAT, 2.0, 3.70, 8.49, 0.18, 4, 1.11, 1.45, 0.0),
    ],
)  # fmt: skip
def test_raised_passes_keep_their_own_limit_and_the_finish_its_own(
    shape, diameter, thickness, high, step, middle, most, full, tilt
):
    """A raised pass may cut as deep as a rough one; what finishes the surface may not."""
    top = TopSurface(
        top=ArcCurve(z0=6.0, k=0.005, radius=300.0, middle=LENGTH / 2),
        length=LENGTH, tilt=math.radians(tilt),
    )  # fmt: skip
    plain, found = passes_over(
        top, diameter, thickness, high, step, middle, most, full=full, shape=shape
    )
    sections = np.linspace(1.0, LENGTH - 1.0, 5)
    deep, left = deepest(found, sections)
    raised = [run.raised > 0 for run in found.runs]
    assert any(raised)
    for depth, above in zip(deep, raised, strict=True):
        assert depth <= (full if above else most) + 1e-6
    assert left == pytest.approx(deepest(plain, sections)[1], abs=1e-6)


@pytest.mark.parametrize(
    ("thickness", "high", "step", "middle", "most", "full"),
    [(6.3, 8.02, 0.1, 6, 1.04, 1.67), (7.86, 7.82, 0.12, 7, 0.75, 1.28)],
)
def test_one_raised_pass_clears_the_way_for_several(thickness, high, step, middle, most, full):
    """Ridges a tenth of the tool apart: a raised pass is as wide as several of them."""
    top = TopSurface(
        top=ArcCurve(z0=6.0, k=0.005, radius=300.0, middle=LENGTH / 2), length=LENGTH, tilt=0.0
    )
    plain, found = passes_over(top, 3.0, thickness, high, step, middle, most, full=full)
    depths, _ = deepest(plain, np.linspace(1.0, LENGTH - 1.0, 5))
    raised = [run for run in found.runs if run.raised]
    assert 0 < 1.9 * len(raised) < len([depth for depth in depths if depth > most])


@pytest.mark.parametrize(
    ("diameter", "thickness", "over", "step", "middle", "most", "tilt"),
    [(3.0, 5.77, 1.7, 0.1, 6, 0.64, 5.9), (2.0, 4.66, 1.9, 0.14, 3, 0.84, 0.5),
     (2.0, 4.77, 3.65, 0.13, 7, 1.18, 4.6)],
)  # fmt: skip
def test_the_rim_of_a_round_between_two_places_is_reckoned_with(
    diameter, thickness, over, step, middle, most, tilt
):
    """A first look alone, at places 0.07 to 0.09 mm apart, was 0.04 to 0.06 mm too deep here."""
    over_a_top(diameter, thickness, over, step, middle, most, tilt)


@pytest.mark.parametrize(
    ("diameter", "thickness", "high", "step", "most", "full"),
    [(3.0, 5.47, 7.4, 0.18, 0.9, 1.26), (2.0, 4.6, 7.2, 0.2, 0.8, 1.1), (3.0, 4.0, 6.6, 0.1, 0.5, 0.6)],
)  # fmt: skip
def test_of_all_rows_to_begin_from_the_quickest_is_taken(
    diameter, thickness, high, step, most, full
):
    """Every row is tried here, each planned to its end; the plan leaves most of them early."""
    top = TopSurface(
        top=ArcCurve(z0=6.0, k=0.005, radius=300.0, middle=LENGTH / 2), length=LENGTH, tilt=0.0
    )
    cut = SimpleNamespace(feed=300.0)
    depths = raised_runs.Depths(most=most, full=full, leave=0.05, shares=SHARES)
    tried = [
        passes_over(top, diameter, thickness, high, step, middle, most, full=full)[1]
        for middle in range(30)
    ]
    every = [row_runs.seconds(found, cut) for found in tried if found is not None]
    chosen = surface_passes._quickest_outward(tried[0].table, cut, depths, one_way=False)
    assert row_runs.seconds(chosen, cut) == pytest.approx(min(every))
    assert max(every) > min(every)
