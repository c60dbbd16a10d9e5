"""Rough layers, grooves and the way back: replayed here on a finer grid than the
planner looks at.
"""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from blankcam.inputs import job_file
from blankcam.machining import feeds, row_runs, slot_passes
from blankcam.machining.setup_sheet import STANDING
from blankcam.parts.design import design
from blankcam.parts.stage import Stage
from blankcam.toolpath import build, pass_order, surfacing
from blankcam.toolpath.moves import ArcMove, Rapid
from blankcam.workflows.layout import slot_decisions
from blankcam.workflows.request import machine_of, request_of
from tests.conftest import DEMO_JOBS, EACH_DEMO_JOB
from tests.proved import plan_of

BEND = 0.02
"""mm that a finishing pass may meet more than planned, where rows of ridges meet (our own)."""


@pytest.fixture(scope="module", params=["bench-mill", "light-router"])
def profile(request, found):
    return machine_of(found.job, request.param)


@pytest.fixture(scope="module", params=["concert-steel", "wide-bass"])
def found(request):
    (path,) = (p for p in DEMO_JOBS if p.stem == request.param)
    return design(job_file.load(str(path)))


def test_no_pass_of_a_crown_is_too_deep(found, profile, monkeypatch):
    """Each pass at 40 sections over 500 places across, a ball's circle at a time."""
    layers, real = [], surfacing.cut_layer

    def cut_layer(path, rows, cut):
        layers.append((rows, cut))
        real(path, rows, cut)

    monkeypatch.setattr(surfacing, "cut_layer", cut_layer)
    build.plan(request_of(found, "saddle", profile, Stage.FINAL))
    table = layers[0][0].table
    stock, r = table.sweep.stock, table.sweep.tool.radius
    y = np.linspace(stock.y0, stock.y1, 500)
    at = np.linspace(stock.x0 + 0.5, stock.x1 - 0.5, 40)
    stands = np.repeat(table.sweep.stands(at)[:, None], len(y), axis=1)
    full, finish = (
        feeds.plan_cut(feeds.material(found.job.blanks.material), table.sweep.tool, profile, work)
        for work in (feeds.Work.SLOT, feeds.Work.FINISH)
    )
    for rows, cut in layers:
        for each in pass_order.passes(rows, cut):
            # What a raised one bends its tool is cut away after it
            last = rows is layers[-1][0] and not each.raised
            most = min(full.depth, finish.depth) + BEND if last else full.depth + 0.001
            order = np.argsort(each.xs)
            z = np.interp(at, each.xs[order], each.zs[order], left=np.inf, right=np.inf)
            off = np.abs(y - np.interp(at, each.xs[order], each.ys[order])[:, None])
            under = np.where(off < r, r - np.sqrt(np.maximum(r**2 - off**2, 0.0)), np.inf)
            ball = z[:, None] + under
            assert float(np.max(stands - ball)) <= most
            stands = np.minimum(stands, ball)


def test_between_passes_a_tool_stays_over_what_stands(found, profile, monkeypatch):
    """Wherever it may be on a link, at sections 0.1 mm apart, over what each layer finds."""
    layers, hops, real, hop_over = [], [], surfacing.cut_layer, pass_order.hop_over

    def cut_layer(path, rows, cut):
        layers.append((rows, cut))
        real(path, rows, cut)

    def hop(rows, at, to):
        hops.append((len(layers) - 1, at, to, hop_over(rows, at, to)))
        return hops[-1][-1]

    monkeypatch.setattr(surfacing, "cut_layer", cut_layer)
    monkeypatch.setattr(pass_order, "hop_over", hop)
    build.plan(request_of(found, "saddle", profile, Stage.FINAL))
    first = layers[0][0].table.sweep
    stock, r = first.stock, first.tool.radius
    x, y = np.arange(stock.x0, stock.x1, 0.1), np.linspace(stock.y0, stock.y1, 100)
    stands = np.repeat(first.stands(x)[:, None], len(y), axis=1)
    lower = 0
    for k, (rows, cut) in enumerate(layers):
        for _, at, to, high in (h for h in hops if h[0] == k and not math.isnan(h[1][0])):
            (x0, x1), (y0, y1) = sorted((at[0], to[0])), sorted((at[1], to[1]))
            off = np.maximum(np.maximum(y0 - y, y - y1), 0.0)
            under = np.where(off < r, r - np.sqrt(np.maximum(r**2 - off**2, 0.0)), np.inf)
            between = (x >= x0) & (x <= x1)
            if between.any():
                assert float(np.min(high + under - stands[between])) >= 0.9 * pass_order.AIR
            assert high <= stock.z1 + pass_order.AIR + 1e-9
            lower += high < stock.z1
        for each in pass_order.passes(rows, cut):
            order = np.argsort(each.xs)
            z = np.interp(x, each.xs[order], each.zs[order], left=np.inf, right=np.inf)
            off = np.abs(y - np.interp(x, each.xs[order], each.ys[order])[:, None])
            under = np.where(off < r, r - np.sqrt(np.maximum(r**2 - off**2, 0.0)), np.inf)
            stands = np.minimum(stands, z[:, None] + under)
    assert lower > 0


def test_a_round_end_begins_no_deeper_than_its_cut(found, profile):
    """Its first level under the crown that stands there, which falls toward the ends."""
    saddle = found.saddle
    edge = plan_of(found, saddle, profile, Stage.FINAL).programs[-1]
    (ends,) = (o for o in edge.operations if o.name == "ends")
    surface = saddle.at(Stage.FINAL).surface
    r = saddle.thickness / 2
    arcs = [m for m in ends.moves if isinstance(m, ArcMove)]
    for middle, low, high in (
        (r, edge.stock.x0, r),
        (saddle.length - r, saddle.length - r, edge.stock.x1),
    ):
        levels = [m.to[2] for m in arcs if m.centre[0] == middle]
        x, y = np.meshgrid(
            np.linspace(low, high, 300), np.linspace(edge.stock.y0, edge.stock.y1, 300)
        )
        stands = float(np.max(surface.height(x, y)))
        steps = np.diff([stands, *levels])
        assert levels
        assert float(np.max(-steps)) <= ends.cut.depth + 1e-9
        assert stands - levels[0] > 0


def test_what_passes_a_round_end_last_bends_no_further_than_a_finishing_pass(found, profile):
    """F L^3 / (3 E I) of a rod of 0.8 D (Kops and Vo, CIRP Annals 39(1), 1990), E 600 GPa: 3 um."""
    edge = plan_of(found, found.saddle, profile, Stage.FINAL).programs[-1]
    (ends,) = (o for o in edge.operations if o.name == "ends")
    cut, tool = ends.cut, ends.tool
    force = 240.0 * cut.chip + 6.0  # N a millimetre of depth in bone, data/materials.toml
    inertia = math.pi * (0.8 * tool.diameter) ** 4 / 64
    give = tool.stick_out**3 / (3 * 600e3 * inertia)
    arcs = [m for m in ends.moves if isinstance(m, ArcMove)]
    assert found.job.blanks.material == "bone"
    assert tool.shank >= tool.diameter  # a thicker shank bends less than reckoned here
    for middle in {m.centre[0] for m in arcs}:
        *_, before, last = (m.to[2] for m in arcs if m.centre[0] == middle)
        assert force * (before - last) * give <= 0.003


@st.composite
def stretches(draw):
    """Stretches of up to eight rows of 100 places, from the left to the right."""
    found = []
    for _ in range(draw(st.integers(1, 8))):
        places = sorted(draw(st.sets(st.integers(0, 99), max_size=6)))
        found.append(list(zip(places[::2], places[1::2], strict=False)))
    return found


@settings(max_examples=60, deadline=None)
@given(found=stretches(), speed=st.floats(1.0, 20.0), middle=st.none() | st.floats(0.0, 0.999))
@pytest.mark.property
def test_every_stretch_is_cut_once_and_after_those_toward_where_the_order_begins(
    found, speed, middle
):
    table = SimpleNamespace(
        y=np.repeat(0.5 * np.arange(len(found))[:, None], 100, axis=1),
        xs=np.arange(100.0),
        stride=1.0,
        sweep=SimpleNamespace(tool=SimpleNamespace(radius=1.5)),
    )
    if middle is not None:
        middle = int(middle * len(found))
    every = row_runs.waiting(len(found), 100, found, middle)
    runs = row_runs.ordered(table, every, speed)
    cut = [(run.row, run.first, run.last) for run in runs]
    assert sorted(cut) == sorted((k, *each) for k, row in enumerate(found) for each in row)
    for k, (row, first, last) in enumerate(cut):
        if middle is None:
            outer = row - 1 if row < len(found) // 2 else row + 1
            waits = (outer < len(found) // 2) == (row < len(found) // 2)
        else:
            outer, waits = row - 1 if row > middle else row + 1, row != middle
        if 0 <= outer < len(found) and waits:
            over = [(outer, a, b) for a, b in found[outer] if a < last and first < b]
            assert all(each in cut[:k] for each in over)


@settings(max_examples=25, deadline=None)
@given(
    wider=st.floats(0.0, 0.5),
    ball=st.floats(0.25, 1.0),
    deep=st.floats(0.2, 2.0),
    share=st.floats(0.15, 0.4),
    tilt=st.floats(0.0, 0.25),
)
@example(wider=0.1171875, ball=1.0, deep=1.0, share=0.16015625, tilt=0.25)
@pytest.mark.property
def test_no_pass_of_a_groove_is_too_deep(wider, ball, deep, share, tilt):
    """Each pass over 4001 places of the section; the last leave no more than the cusp."""
    radius, step = ball * (1 + wider), 2 * share * ball
    groove = slot_passes.Groove(x=0.0, z=0.0, radius=radius, tilt=tilt, yaw=0.0)
    x = np.linspace(-radius, radius, 4001)
    high = (deep + STANDING) * math.cos(tilt)
    stands = np.full_like(x, high)
    for aside, up, _ in slot_passes.passes(groove, ball, deep, step, math.pi / 2):
        room = ball**2 - (x - aside) ** 2
        under = np.where(room >= 0, up - np.sqrt(np.maximum(room, 0.0)), np.inf)
        assert float(np.max(stands - under)) <= step * math.cos(tilt) + 0.001
        stands = np.minimum(stands, under)
    wanted = radius - np.sqrt(np.maximum(radius**2 - x**2, 0.0))
    steep = np.abs(x) < 0.9 * radius
    left = np.minimum(stands, max(high, radius)) - wanted
    assert -1e-9 < float(left[steep & (wanted < high)].max(initial=0.0)) <= 0.020
    short = radius - np.hypot(x, radius - np.minimum(stands, radius))
    assert float(short[steep & (wanted < high - STANDING)].max(initial=0.0)) <= 0.010


@pytest.mark.parametrize(
    ("radius", "ball", "deep", "step"),
    [(0.546, 0.5, 1.31, 0.25), (0.864, 0.75, 1.66, 0.375), (0.445, 0.4, 0.43, 0.12)],
)
def test_a_groove_little_wider_than_its_tool_begins_along_its_middle(radius, ball, deep, step):
    """Fewer passes than layers from wall to wall would take, which are two in each."""
    groove = slot_passes.Groove(x=0.0, z=0.0, radius=radius, tilt=0.0, yaw=0.0)
    floor = len(slot_passes.around(radius, ball, deep + STANDING, math.pi / 2))
    layers = math.ceil((deep + STANDING - (radius - ball)) / step)
    found = slot_passes.passes(groove, ball, deep, step, math.pi / 2)
    assert len(found) < 2 * (layers - 1) + floor
    assert found[0][0] == 0.0


def test_an_outline_comes_back_beside_the_seat_side(found, profile):
    """Over the blank only at its beginning and its end."""
    for part in (found.nut, found.saddle):
        face = plan_of(found, part, profile, Stage.ROUGH).programs[0]
        assert face.setup == "face"
        (operation,) = face.operations
        over = [m for m in operation.moves if isinstance(m, Rapid) and m.to[2] > face.stock.z1]
        assert len(over) <= 2


@pytest.mark.long
@pytest.mark.parametrize("path", EACH_DEMO_JOB)
@pytest.mark.parametrize("machine", ["bench-mill", "light-router"])
def test_who_asks_for_the_slots_is_told_what_the_plan_does(path, machine):
    """One place decides; opened first where that is quicker, too."""
    job = design(job_file.load(str(path)))
    profile = machine_of(job.job, machine)
    planned = plan_of(job, job.nut, profile, Stage.ROUGH)
    assert slot_decisions(job, profile, Stage.ROUGH) == {d.string: d for d in planned.slots}


@pytest.mark.parametrize(("radius", "ball"), [(0.5, 0.5), (0.5, 0.4), (0.8, 0.5), (1.2, 0.5)])
def test_passes_zigzag_only_above_the_last_layer_over_the_floor(radius, ball):
    """The layers over a floor go both ways; the lowest of them and the floor's own go one way.

    What breaks out then breaks out at the back (our own rule: one layer, in docs/decisions.md).
    """
    groove = slot_passes.Groove(x=0.0, z=0.0, radius=radius, tilt=0.0, yaw=0.0)
    found = slot_passes.passes(groove, ball, 3.0, 0.3, math.pi / 2)
    floor = len(slot_passes.around(radius, ball, 3.0, math.pi / 2))
    over = found[:-floor]
    assert [both_ways for _, _, both_ways in found[-floor:]] == [False] * floor
    levels = sorted({round(up, 9) for _, up, _ in over})
    assert len(levels) >= 5
    for _, up, both_ways in over:
        assert both_ways == (round(up, 9) > levels[0])
