"""Rough layers, grooves and the way back: replayed here on a finer grid than the planner looks at."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blankcam import proving
from blankcam.cutting import feeds, grooves, rows, top
from blankcam.cutting.bench import STANDING
from blankcam.cutting.motion import Rapid
from blankcam.job import read
from blankcam.parts.design import design
from blankcam.parts.stage import Stage
from tests.conftest import DEMO_JOBS

BEND = 0.02
"""mm that a finishing pass may meet more than planned, where rows of ridges meet (our own)."""


@pytest.fixture(scope="module", params=["bench-mill", "light-router"])
def profile(request, found):
    return proving.machine_of(found.job, request.param)


@pytest.fixture(scope="module", params=["concert-steel", "wide-bass"])
def found(request):
    (path,) = (p for p in DEMO_JOBS if p.stem == request.param)
    return design(read.load(str(path)))


def test_no_pass_of_a_crown_is_too_deep(found, profile, monkeypatch):
    """Each pass at 40 sections over 500 places across, a ball's circle at a time."""
    layers, real = [], top.cut_layer

    def cut_layer(path, table, layer, cut):
        layers.append((table, layer, cut))
        real(path, table, layer, cut)

    monkeypatch.setattr(top, "cut_layer", cut_layer)
    proving.plan_part(found, found.saddle, profile, Stage.FINAL)
    table = layers[0][0]
    stock, r = table.sweep.stock, table.sweep.tool.radius
    y = np.linspace(stock.y_min, stock.y_max, 500)
    at = np.linspace(stock.x_min + 0.5, stock.x_max - 0.5, 40)
    stands = np.repeat(table.sweep.stands(at)[:, None], len(y), axis=1)
    finish = feeds.plan_cut(
        feeds.material(found.job.blanks.material), table.sweep.tool, profile, feeds.Work.FINISH
    )
    for rows_of, layer, cut in layers:
        last = layer.raised == 0.0
        most = min(cut.depth, finish.depth) + BEND if last else cut.depth + 0.001
        for each in rows.passes(rows_of, layer, cut):
            order = np.argsort(each.xs)
            z = np.interp(at, each.xs[order], each.zs[order], left=np.inf, right=np.inf)
            off = np.abs(y - each.y)
            under = np.where(off < r, r - np.sqrt(np.maximum(r**2 - off**2, 0.0)), np.inf)
            ball = z[:, None] + under
            assert float(np.max(stands - ball)) <= most
            stands = np.minimum(stands, ball)


@settings(max_examples=25, deadline=None)
@given(
    wider=st.floats(0.0, 0.5),
    ball=st.floats(0.25, 1.0),
    deep=st.floats(0.2, 2.0),
    share=st.floats(0.15, 0.4),
    tilt=st.floats(0.0, 0.25),
)
@pytest.mark.property
def test_no_pass_of_a_groove_is_too_deep(wider, ball, deep, share, tilt):
    """Each pass over 4001 places of the section; the last leave no more than the cusp."""
    radius, step = ball * (1 + wider), 2 * share * ball
    groove = grooves.Groove(x=0.0, z=0.0, radius=radius, tilt=tilt, yaw=0.0)
    x = np.linspace(-radius, radius, 4001)
    high = (deep + STANDING) * math.cos(tilt)
    stands = np.full_like(x, high)
    for aside, up, _ in grooves.passes(groove, ball, deep, step, grooves.FLOOR_CUSP):
        room = ball**2 - (x - aside) ** 2
        under = np.where(room >= 0, up - np.sqrt(np.maximum(room, 0.0)), np.inf)
        assert float(np.max(stands - under)) <= step * math.cos(tilt) + 0.001
        stands = np.minimum(stands, under)
    wanted = radius - np.sqrt(np.maximum(radius**2 - x**2, 0.0))
    steep = np.abs(x) < 0.9 * radius
    left = np.minimum(stands, max(high, radius)) - wanted
    assert -1e-9 < float(left[steep & (wanted < high)].max(initial=0.0)) <= 0.010


def test_an_outline_comes_back_beside_the_seat_side(found, profile):
    """Over the blank only at its beginning and its end."""
    for part in (found.nut, found.saddle):
        face = proving.plan_part(found, part, profile, Stage.ROUGH).programs[0]
        assert face.setup == "face"
        (operation,) = face.operations
        over = [m for m in operation.moves if isinstance(m, Rapid) and m.to[2] > face.stock.z_max]
        assert len(over) <= 2


@pytest.mark.parametrize("path", DEMO_JOBS, ids=lambda p: p.stem)
@pytest.mark.parametrize("machine", ["bench-mill", "light-router"])
def test_who_asks_for_the_slots_is_told_what_the_plan_does(path, machine):
    """One place decides; opened first where that is quicker, too."""
    job = design(read.load(str(path)))
    profile = proving.machine_of(job.job, machine)
    planned = proving.plan_part(job, job.nut, profile, Stage.ROUGH)
    assert proving.slot_choices(job, profile, Stage.ROUGH) == proving.choices_of(planned.slots)
