"""Both ends' heights from the clearances at frets 1 and 12."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from blankcam.inputs import job_file
from blankcam.instrument import heights as instruments
from blankcam.instrument.board import Board
from blankcam.instrument.heights import StringPath
from tests.conftest import EACH_DEMO_JOB

FLAT = Board(
    scale=650.0, width_at_nut=52.0, radius_at_nut=math.inf, radius_slope=0.0, fret_height=1.1,
    relief=0.0,
    body_fret=12,
)  # fmt: skip
STRING = StringPath(
    number=1, note="E2", course=1, gauge=1.0, make="nylon", unit_weight=None, stiffness=None,
    u_nut=0.0, u_saddle=0.0, first_fret=0.6, third_fret=None, lift=0.0, action=3.2, compensation=0.0, z_nut=0.0,
    z_saddle=0.0, length=650.0,
)  # fmt: skip


# Straight string over a straight plane: (y1, y12) -> (height at nut, at saddle), solved by hand.
@pytest.mark.parametrize(
    ("y1", "y12", "nut", "saddle"),
    [(0.6, 3.2, 0.271, 6.129), (0.8, 4.0, 0.395, 7.605), (0.35, 1.8, 0.167, 3.433),
     (0.6, 2.3, 0.385, 4.215)],
)  # fmt: skip
def test_inverse_of_the_action_coefficients(y1, y12, nut, saddle):
    solved = instruments.solve(FLAT, replace(STRING, first_fret=y1, action=y12))
    assert solved.lift == pytest.approx(nut, abs=6e-4)
    assert solved.z_saddle - FLAT.fret_height == pytest.approx(saddle, abs=6e-4)


# y(n) = hn 2^(-n/12) + hs (1 - 2^(-n/12)): what 1 mm at either end does at a fret.
@pytest.mark.parametrize(
    ("fret", "of_saddle", "of_nut"),
    [(1, 0.0561, 0.9439), (2, 0.1091, 0.8909), (5, 0.2508, 0.7492), (7, 0.3326, 0.6674),
     (12, 0.5, 0.5), (17, 0.6254, 0.3746)],
)  # fmt: skip
def test_action_coefficients(fret, of_saddle, of_nut):
    base = replace(STRING, z_nut=1.5, z_saddle=7.0)
    for change, expected in (("z_saddle", of_saddle), ("z_nut", of_nut)):
        moved = replace(base, **{change: getattr(base, change) + 1.0})
        rise = moved.clearance(FLAT, np.array(fret)) - base.clearance(FLAT, np.array(fret))
        assert float(rise) == pytest.approx(expected, abs=6e-5)


def test_with_the_lift_given_only_the_saddle_is_solved():
    solved = instruments.solve(FLAT, replace(STRING, first_fret=None, lift=0.3))
    assert solved.z_nut == pytest.approx(1.4)
    # 3.2 over fret 12, half way: twice 4.3 less the nut's 1.4
    assert solved.z_saddle == pytest.approx(7.2)


@pytest.mark.property
@given(
    st.floats(0.2, 1.0), st.floats(1.2, 4.5), st.floats(150, 2000), st.floats(-1, 1),
    st.floats(0, 0.4), st.floats(-2, 6), st.floats(-22, 22), st.floats(-30, 30),
)  # fmt: skip
def test_wanted_clearances_come_back(y1, y12, radius, slope, relief, compensation, u_nut, u_saddle):
    board = replace(
        FLAT, radius_at_nut=radius, radius_slope=slope * (radius - 100) / 700, relief=relief
    )
    string = replace(
        STRING, first_fret=y1, action=y12, u_nut=u_nut, u_saddle=u_saddle,
        compensation=compensation,
        length=650 + compensation,
    )  # fmt: skip
    solved = instruments.solve(board, string)
    assert solved.clearance(board, np.array([1.0, 12.0])) == pytest.approx([y1, y12], abs=1e-9)


@pytest.mark.parametrize("path", EACH_DEMO_JOB)
def test_the_bass_string_lies_on_the_bass_side(path):
    job = job_file.load(str(path))
    first, last = (instruments.build(job).strings[i] for i in (0, -1))
    if job.left_handed:
        assert first.u_nut > 0 > last.u_nut
        assert first.u_saddle > 0 > last.u_saddle
    else:
        assert first.u_nut < 0 < last.u_nut
        assert first.u_saddle < 0 < last.u_saddle
