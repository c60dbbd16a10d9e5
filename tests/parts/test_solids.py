"""The finished solids put back on the instrument: sides, clearances, tops, ridges."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator

from blankcam.faults import RefusedError
from blankcam.inputs import job_file
from blankcam.parts.curve import Arc, area, fit, points
from blankcam.parts.design import design
from blankcam.parts.stage import Stage
from blankcam.parts.top_curve import ArcCurve, SmoothCurve, fit_arc
from tests.conftest import EACH_DEMO_JOB

FINAL = Stage.FINAL


@pytest.fixture(scope="module", params=EACH_DEMO_JOB)
def made(request):
    return design(job_file.load(str(request.param)))


def nut_low_point(made, slot):
    """The deepest place of a slot at the witness face, found on the solid alone."""
    x = np.linspace(slot.centre - 0.3, slot.centre + 0.3, 60001)
    z = made.nut.at(FINAL).lower(x, np.zeros_like(x))
    return x[np.argmin(z)], float(np.min(z))


def saddle_high_point(made, x):
    """Top of the saddle along y at one x, found on the solid alone."""
    y = np.linspace(0.0, made.saddle.thickness, 30001)
    z = made.saddle.at(FINAL).lower(np.full_like(y, x), y)
    return y[np.argmax(z)], float(np.max(z))


def test_the_bass_slot_is_on_the_bass_side(made):
    # Placed on the instrument (u = x - length/2, x to the right seen from the bridge to the head):
    # the first string lies left of the middle for a right-handed maker, right for a left-handed.
    strings = made.job.strings
    x, _ = nut_low_point(made, made.nut.slots[0])
    u = x - made.nut.length / 2
    assert made.nut.slots[0].gauge == strings[0].gauge
    assert (u > 0) == made.job.left_handed
    bass = made.saddle.strings[0].centre - made.saddle.length / 2
    assert (bass > 0) == made.job.left_handed
    if strings[0].gauge > strings[-1].gauge:  # not so where a set is tuned re-entrant
        far_left = min(made.nut.slots, key=lambda s: s.centre)
        far_right = max(made.nut.slots, key=lambda s: s.centre)
        assert (far_left.width > far_right.width) != made.job.left_handed


def on_the_instrument(made, x, y):
    """Place (u, s) of a point of the saddle, from the two measured points of its slot alone."""
    saddle, job = made.saddle, made.job.saddle
    side = 1.0 if made.job.left_handed else -1.0
    bass = np.array([side * job.string_span / 2, job.front_at.bass])
    treble = np.array([-side * job.string_span / 2, job.front_at.treble])
    along = side * (bass - treble) / np.linalg.norm(bass - treble)
    toward_nut = np.array([along[1], -along[0]])
    at = (x - saddle.length / 2) * along + (y - saddle.thickness) * toward_nut
    return (bass + treble) / 2 + at


def test_clearances_come_back_from_the_finished_solids(made):
    """Strings laid straight from slot floor to saddle top, over a board worked out here anew."""
    job, scale = made.job, made.job.instrument.scale
    radius, residual = job.board.radius, {s.string: s.residual for s in made.saddle.strings}
    for slot, seat in zip(made.nut.slots, made.saddle.strings, strict=True):
        x0, z0 = nut_low_point(made, slot)
        y1, z1 = saddle_high_point(made, seat.centre)
        z_nut = z0 - job.nut.seat_drop
        z_saddle = z1 + job.board.fret_height - job.saddle.fret_line - job.saddle.slot_depth
        z_saddle -= residual[seat.string]
        u_nut = x0 - made.nut.length / 2
        u_saddle, length = on_the_instrument(made, seat.centre, y1)
        string = next(p for p in made.instrument.strings if p.number == slot.string)
        for fret, wanted in ((1, string.first_fret), (12, string.action)):
            s = scale * (1 - 2 ** (-fret / 12))
            u = u_nut + (u_saddle - u_nut) * s / length
            r = radius.nut + (radius.end - radius.nut) * s / radius.end_at
            wood = 0.0 if math.isinf(radius.nut) else math.sqrt(r * r - u * u) - r
            a, b = (scale * (1 - 2 ** (-n / 12)) for n in (1, job.board.body_fret))
            t = (s - a) / (b - a)
            dip = 4 * job.board.relief * t * (1 - t) if 0 < t < 1 else 0.0
            clearance = (
                z_nut + (z_saddle - z_nut) * s / length - (wood + job.board.fret_height - dip)
            )
            assert clearance == pytest.approx(wanted, abs=0.002), (slot.string, fret)


def test_per_string_tops_leave_nothing_and_arcs_little(made):
    worst = max(abs(s.residual) for s in made.saddle.strings)
    assert worst < (1e-9 if made.job.saddle.top == "per string" else 0.05)


def test_exposures_are_what_the_solid_shows(made):
    for slot in made.nut.slots:
        beside = np.array([slot.centre - slot.radius - 1e-6, slot.centre + slot.radius + 1e-6])
        top = float(np.mean(made.nut.at(FINAL).lower(beside, np.zeros(2))))
        _, floor = nut_low_point(made, slot)
        assert (floor + slot.gauge - top) / slot.gauge == pytest.approx(slot.exposure, abs=0.003)


def test_floors_and_top_fall_toward_the_head_alike(made):
    nut, slot = made.nut, made.nut.slots[0]
    for x in (slot.centre, 0.5):
        front, back = nut.at(FINAL).lower(np.full(2, x), np.array([0.0, nut.thickness]))
        assert math.atan2(front - back, nut.thickness) == pytest.approx(made.job.nut.tilt)


def test_a_round_cylinder_lies_in_each_slot(made):
    """Every point of the groove is one radius from the axis of a cylinder along the floor."""
    for slot in made.nut.slots:
        x = np.linspace(slot.centre - slot.radius * 0.999, slot.centre + slot.radius * 0.999, 41)
        for y in (0.0, made.nut.thickness):
            z = slot.surface(x, np.full_like(x, y))
            along = np.array([0.0, math.cos(slot.tilt), -math.sin(slot.tilt)])
            axis = np.array(
                [slot.centre, 0.0, slot.floor_front + slot.radius / math.cos(slot.tilt)]
            )
            to = np.column_stack([x, np.full_like(x, y), z]) - axis
            off = np.linalg.norm(to - np.outer(to @ along, along), axis=1)
            assert off == pytest.approx(np.full_like(x, slot.radius), abs=1e-9)


def test_rough_is_higher_than_final_by_what_is_left(made):
    x, y = np.linspace(0.2, made.saddle.length - 0.2, 50), np.full(50, made.saddle.thickness / 2)
    rough, final = (made.saddle.at(s).lower(x, y) for s in (Stage.ROUGH, FINAL))
    assert rough - final == pytest.approx(np.full(50, made.job.saddle.allowance))
    slot = made.nut.slots[0]
    at = np.array([slot.centre]), np.zeros(1)
    rough, final = (float(made.nut.at(s).lower(*at)[0]) for s in (Stage.ROUGH, FINAL))
    assert rough - final == pytest.approx(made.job.nut.hold_back)
    between = (made.nut.slots[0].centre + made.nut.slots[-1].centre) / 2
    upper = [
        float(made.nut.at(s).upper(np.array([between]), np.zeros(1), frozenset())[0])
        for s in (Stage.ROUGH, FINAL)
    ]
    assert upper[0] - upper[1] == pytest.approx(made.job.nut.allowance)


def test_the_crown_is_a_circle_seen_from_the_end(made):
    saddle = made.saddle
    seat = saddle.strings[0]
    y = np.linspace(0.0, saddle.thickness, 200)
    z = saddle.at(FINAL).lower(np.full_like(y, seat.centre), y)
    centre = np.max(z) - saddle.crown_radius
    off = np.hypot(y - seat.ridge, z - centre)
    assert off == pytest.approx(np.full_like(y, saddle.crown_radius), abs=1e-4)


def test_round_ends_are_full_round(made):
    saddle = made.saddle
    y = np.linspace(0.01, saddle.thickness - 0.01, 50)
    inside = saddle.covers(np.full_like(y, 0.05), y)
    if saddle.ends == "square":
        assert inside.all()
    else:
        r = saddle.thickness / 2
        chord = math.sqrt(r**2 - (r - 0.05) ** 2)
        assert inside.sum() == np.sum(np.abs(y - r) <= chord)


def test_smooth_curves_follow_a_reference_library():
    # scipy's PchipInterpolator has the same published method (Fritsch and Carlson 1980)
    rng = np.random.default_rng(7)
    for _ in range(20):
        xs = np.cumsum(rng.uniform(1, 12, 7))
        zs = rng.uniform(5, 9, 7)
        ours = SmoothCurve(xs=tuple(xs), zs=tuple(zs))
        theirs = PchipInterpolator(xs, zs)
        at = np.linspace(xs[0], xs[-1], 400)
        assert ours.height(at) == pytest.approx(theirs(at), abs=1e-12)
        assert ours.slope(at[1:-1]) == pytest.approx(theirs(at[1:-1], 1), abs=1e-9)


@pytest.mark.property
@given(
    st.floats(120, 2000), st.floats(-0.05, 0.05), st.floats(4, 9), st.floats(20, 30),
    st.lists(st.floats(-1, 1), min_size=3, max_size=10, unique=True),
)  # fmt: skip
def test_an_arc_comes_back_from_its_own_points(radius, k, z0, middle, places):
    x = middle + 20 * np.sort(np.array(places))
    if np.min(np.diff(x)) < 0.01:
        return
    true = ArcCurve(z0=z0, k=k, radius=radius, middle=middle)
    found = fit_arc(x, true.height(x), radius, middle)
    assert found.height(x) == pytest.approx(true.height(x), abs=1e-9)


@pytest.mark.property
@settings(max_examples=40)
@given(st.floats(150, 900), st.floats(-0.03, 0.03), st.sampled_from([0.0005, 0.001, 0.002]))
def test_fitted_chains_stay_within_their_bound(radius, k, within):
    top = ArcCurve(z0=7.0, k=k, radius=radius, middle=26.0)
    chain = fit(top.height, 0.0, 52.0, within)
    at = np.array(list(points(chain, 1e-7)))
    assert np.max(np.abs(at[:, 1] - top.height(at[:, 0]))) <= within * 1.05
    assert chain[0].start[0] == 0.0
    assert chain[-1].end[0] == pytest.approx(52.0)
    for a, b in itertools.pairwise(chain):
        assert a.end == b.start


def test_an_untilted_top_is_one_true_arc():
    top = ArcCurve(z0=7.0, k=0.0, radius=304.8, middle=26.0)
    (only,) = fit(top.height, 0.0, 52.0, 1e-6)
    assert isinstance(only, Arc)
    assert only.radius == pytest.approx(304.8, abs=1e-3)


def test_area_of_a_circle_from_two_arcs():
    top = Arc((1.0, 0.0), (-1.0, 0.0), (0.0, 0.0), True)
    bottom = Arc((-1.0, 0.0), (1.0, 0.0), (0.0, 0.0), True)
    assert area((top, bottom)) == pytest.approx(math.pi)
    assert top.bulge == pytest.approx(1.0)  # a half circle, by DXF's definition


SMALL = '[instrument]\nname = "x"\nkind = "steel-string"\n'


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('[blanks]\nnut = { length = "40 mm", height = "10 mm", thickness = "6 mm" }', "by 4.00 mm"),
        ('[blanks]\nnut = { length = "52 mm", height = "7 mm", thickness = "6 mm" }', "height"),
        ('[blanks]\nsaddle = { length = "80 mm", height = "12 mm", thickness = "2.4 mm" }', "thickness"),
        ('[nut]\nfirst_fret = "0.06 mm"', "rest on fret 1"),
        ('[nut]\nclearance = "0.55 mm"\nmargin_bass = "1 mm"', "outside slot 6"),
        ("[nut]\nexposure = 1", "deep"),
        ('[saddle]\ncrown_radius = "1.5 mm"', "too small"),
        ('[nut]\nseat_drop = "0.2 mm"', "of the seat"),
    ],
)  # fmt: skip
def test_what_must_not_be_cut_is_refused(text, words):
    with pytest.raises(RefusedError, match=words):
        design(job_file.parse(SMALL + text, "j"))


def test_all_refusals_are_told_at_once():
    text = SMALL + (
        '[nut]\nfirst_fret = "0.06 mm"\n[saddle]\ncrown_radius = "1.5 mm"\n'
        '[blanks]\nnut = { length = "40 mm", height = "10 mm", thickness = "6 mm" }\n'
        'saddle = { length = "80 mm", height = "12 mm", thickness = "3 mm" }\n'
    )
    with pytest.raises(RefusedError) as caught:
        design(job_file.parse(text, "j"))
    keys = {f.key for f in caught.value.faults}
    assert {"nut.first_fret", "saddle.crown_radius"} <= keys


def test_a_thick_blank_is_told_how_much_to_rub_off():
    blanks = '[blanks]\nnut = { length = "52 mm", height = "10 mm", thickness = "6.2 mm" }'
    made = design(job_file.parse(SMALL + blanks, "j"))
    check = next(c for c in made.checks if c.part == "nut" and c.dimension == "thickness")
    # seat 6.0 mm, h9: 5.970 to 6.000, its middle 5.985
    assert check.rub_off == pytest.approx(0.215)
    assert any("rub off 0.215 mm" in c for c in made.cautions)


@pytest.mark.property
@settings(max_examples=25)
@given(st.floats(0, 1))
def test_a_wider_margin_moves_its_own_slot_only(shift):
    text = SMALL + f'[nut]\nmargin_bass = "{3.2 + shift:.6f} mm"\n'
    base, moved = design(job_file.parse(SMALL, "j")), design(job_file.parse(text, "j"))
    assert moved.nut.slots[0].centre - base.nut.slots[0].centre == pytest.approx(shift, abs=1e-5)
    assert moved.nut.slots[-1].centre == pytest.approx(base.nut.slots[-1].centre)
