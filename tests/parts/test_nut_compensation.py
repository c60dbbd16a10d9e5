"""Nut compensation that is cut: the instrument by plain numpy, the solid on its own, what is
refused.

The cents are checked against the formulas of Anderson and Beausoleil, J. Acoust. Soc. Am. 156(1)
683 (2024) [AB], written out here from the manuscript's equations; heights and places against
straight lines between the solid's own edges and the saddle's ridge.
"""

import dataclasses
import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blankcam.data import table
from blankcam.faults import RefusedError
from blankcam.inputs import job_file
from blankcam.instrument.heights import gap_held_at_third_fret
from blankcam.parts.design import design, drafted
from blankcam.parts.stage import Stage
from tests.conftest import STEEL, demo_job

ALL = frozenset(range(1, 13))
FRETS = np.arange(1, 13)


def made(compensation, path=STEEL, **changed):
    text = path.read_text(encoding="utf-8")
    text = text.replace("[nut]", f"[nut]\ncompensation = {compensation}", 1)
    for was, becomes in changed.get("changes", ()):
        assert was in text
        text = text.replace(was, becomes, 1)
    return job_file.parse(text, "job.toml")


def each(*values):
    """A table by string number, from string 6 to 1."""
    rows = ", ".join(f'{6 - i} = "{v:.4f} mm"' for i, v in enumerate(values))
    return f"{{ {rows} }}"


GIVEN = (0.5, 0.2, 0.3, 0.0, 0.4, -0.1)


@pytest.fixture(scope="module")
def computed():
    return design(made('"computed"'))


@pytest.fixture(scope="module")
def stepped():
    return design(made(each(*GIVEN)))


def cents_by_hand(X0, b, c, rho, kappa, d, dS, dN, relief):
    """[AB]'s exact expression for frets 1 to 12; dN < 0: the nut's edge toward the saddle."""
    g = 2.0 ** (FRETS / 12)
    X = X0 / g

    def lengths(rise):
        L0 = np.hypot(X0 + dS + dN, rise)
        L = np.hypot(X + dS, b + rise)
        back = d * L / (X + dS) + np.hypot(X0 - X + dN - d, b + d * (b + rise) / (X + dS))
        return L0, L, back

    L0, L, _ = lengths(c)
    stretched, front, behind = lengths(c + 2 * relief)
    Q = (front + behind - stretched) / stretched
    B0 = math.sqrt(kappa) * rho / (2 * X0)
    B = B0 * L0 / L / np.sqrt(1 + kappa * Q)

    def rise(v):
        return 1 + v + (1 + np.pi**2 / 2) * v**2

    return (
        1200 * np.log2(L0 / (g * L))
        + 600 * np.log2((1 + Q) * (1 + kappa * Q))
        + 1200 * np.log2(rise(B) / rise(B0))
    )


def fret_top(job, s, u):
    """The fret-top surface, written anew: wood, fret height, relief as a parabola."""
    radius = job.board.radius
    slope = 0.0 if math.isinf(radius.nut) else (radius.end - radius.nut) / radius.end_at
    r = radius.nut + slope * s
    scale = job.instrument.scale
    first, body = (scale * (1 - 2 ** (-n / 12)) for n in (1, job.board.body_fret))
    t = min(max((s - first) / (body - first), 0.0), 1.0)
    dip = 4 * job.board.relief * t * (1 - t)
    return math.sqrt(r * r - u * u) - r + job.board.fret_height - dip


def model_of(found, string):
    """What [AB]'s expression needs of a string, with lines of its own over the fret tops."""
    job, top = found.job, lambda s, u: fret_top(found.job, s, u)
    ridge = job.instrument.scale + string.compensation
    twelve = job.instrument.scale / 2
    t = (twelve - string.front) / (ridge - string.front)
    across = string.u_nut + (string.u_saddle - string.u_nut) * t
    ends = top(string.front, string.u_nut), top(ridge, string.u_saddle)
    b = string.z_nut - ends[0]
    data = next(s for s in found.strings if s.number == string.number)
    return {
        "X0": job.instrument.scale, "b": b, "c": string.z_saddle - ends[1] - b,
        "rho": data.force.bending_radius, "kappa": data.force.stiffness,
        "d": job.instrument.finger, "dS": string.compensation, "dN": -string.front,
        "relief": ends[0] * (1 - t) + ends[1] * t - top(twelve, across),
    }  # fmt: skip


@pytest.mark.parametrize("asked", ['"computed"', each(*GIVEN)])
def test_cents_are_those_of_the_compensated_lengths(asked):
    found = design(made(asked))
    for string, data in zip(found.instrument.strings, found.strings, strict=True):
        by_hand = cents_by_hand(**model_of(found, string))
        assert data.cents == pytest.approx(by_hand.tolist(), abs=1e-6)


def test_computed_edges_are_the_best_that_both_ends_can_do(computed):
    """No step of an end that is free to move lowers the sum of the squares."""
    for string in computed.instrument.strings:
        seat = next(s for s in computed.saddle.strings if s.string == string.number)
        reached = abs(seat.compensation - seat.wanted_compensation) < 1e-6
        model = model_of(computed, string)

        def squares(dS=0.0, dN=0.0, model=model):
            moved = model | {"dS": model["dS"] + dS, "dN": model["dN"] + dN}
            return float(np.sum(cents_by_hand(**moved) ** 2))

        best = squares()
        for off in ({"dN": 0.01}, {"dN": -0.01}, *({"dS": b} for b in (0.01, -0.01) if reached)):
            assert squares(**off) > best - 1e-4


def test_edges_alone_are_found_where_the_job_gives_the_ridges():
    path = demo_job("left-classical")  # [saddle] compensation given by string
    found = design(made('"computed"', path))
    asked = found.job.saddle.compensation
    for string, wanted in zip(found.instrument.strings, asked, strict=True):
        seat = next(s for s in found.saddle.strings if s.string == string.number)
        assert seat.wanted_compensation == pytest.approx(wanted)
        model = model_of(found, string) | {"dS": wanted}
        least = table("limits")["front"]["least"]
        tried = np.linspace(-1.5, 1.5, 6001)
        sums = [np.sum(cents_by_hand(**model | {"dN": n}) ** 2) for n in tried]
        # an edge next to the nut's front lies at it
        assert string.front == pytest.approx(-tried[int(np.argmin(sums))], abs=least + 2e-3)


def test_the_solid_gives_each_string_its_place_and_heights(stepped):
    """The string laid over the solid's own edge and the ridge clears frets 1 and 12 as asked."""
    job, nut = stepped.job, stepped.nut
    forward = max(GIVEN)
    target = nut.at(Stage.FINAL)
    wanted = job.nut.first_fret, job.saddle.action
    for slot, string, given_ in zip(nut.slots, stepped.instrument.strings, GIVEN, strict=True):
        y = np.linspace(-0.5, 2.0, 250001)
        z = target.lower(np.full_like(y, slot.centre), y)
        stands = np.flatnonzero(z > slot.floor_front - 0.25)  # before it: air, then the step
        edge = float(y[stands[0]])
        assert edge == pytest.approx(forward - given_, abs=2e-5)
        floor = float(z[stands[0]])
        assert floor - float(z[stands[0] - 1]) == pytest.approx(
            0.5 if edge > 1e-4 else math.inf, abs=1e-4
        )
        s0, u0 = forward - edge, slot.centre - nut.length / 2
        z0 = floor - job.nut.seat_drop
        s1 = job.instrument.scale + string.compensation
        for n, asked, places in (
            (1, wanted[0], [s.u_nut for s in stepped.instrument.strings]),
            (12, wanted[1], [s.u_saddle for s in stepped.instrument.strings]),
        ):
            s = job.instrument.scale * (1 - 2 ** (-n / 12))
            t = (s - s0) / (s1 - s0)
            over = z0 + (string.z_saddle - z0) * t
            clear = over - fret_top(job, s, u0 + (string.u_saddle - u0) * t)
            u = string.u_nut if n == 1 else string.u_saddle
            share = (u - places[0]) / (places[-1] - places[0])
            assert clear == pytest.approx(
                asked.bass + (asked.treble - asked.bass) * share, abs=3e-5
            )


def test_exposure_depth_and_width_are_as_on_a_straight_front(stepped):
    target, plain = stepped.nut.at(Stage.FINAL), design(job_file.load(str(STEEL))).nut
    for slot, straight in zip(stepped.nut.slots, plain.slots, strict=True):
        y = np.array([slot.edge + 1e-6, 3.0, stepped.nut.thickness - 1e-6])
        top = target.surface.height(np.full_like(y, slot.centre), y)
        assert top - slot.floor(y) == pytest.approx(slot.depth_front, abs=1e-9)
        assert slot.floor(y[0]) == pytest.approx(slot.floor_front, abs=1e-6)
        assert (slot.width, slot.centre) == (straight.width, straight.centre)


def test_the_gap_with_the_string_held_at_fret_3_is_met_from_the_moved_edge():
    lines = STEEL.read_text(encoding="utf-8").splitlines()
    was = next(line for line in lines if line.startswith("first_fret"))
    job = made(each(*GIVEN), changes=[(was, 'third_fret = "0.15 mm"')])
    found = design(job)
    for string in found.instrument.strings:
        assert gap_held_at_third_fret(found.instrument.board, string) == pytest.approx(0.15)
        s = [job.instrument.scale * (1 - 2 ** (-n / 12)) for n in (1, 3)]
        tops = [fret_top(job, a, float(string.across(np.array(a)))) for a in s]
        t = (s[0] - string.front) / (s[1] - string.front)
        held = string.z_nut + (tops[1] - string.z_nut) * t
        assert held - tops[0] == pytest.approx(0.15, abs=1e-9)


def test_equal_values_move_the_nut_and_step_nothing():
    found = design(made(each(*(0.3,) * 6)))
    assert all(s.step is None for s in found.nut.slots)
    assert found.stands_forward == pytest.approx(0.3)
    assert all(s.front == pytest.approx(0.3) for s in found.instrument.strings)
    assert any("shorten the board's end" in c for c in found.cautions)


def test_none_and_no_difference_are_the_same_nut():
    plain = design(job_file.load(str(STEEL)))
    none, zero = design(made('"none"')), design(made(each(*(0.0,) * 6)))
    assert none.nut == plain.nut == zero.nut
    assert none.saddle == plain.saddle == zero.saddle
    assert none.strings == plain.strings == zero.strings
    assert none.edges == zero.edges == ()


def test_a_difference_not_worth_a_step_lies_at_the_front():
    found = design(made(each(0.30, 0.28, 0.30, 0.10, 0.30, 0.30)))
    assert [s.step is not None for s in found.nut.slots] == [False] * 3 + [True] + [False] * 2
    assert found.instrument.strings[1].front == pytest.approx(0.30)  # and its cents say so


@given(st.lists(st.floats(-0.6, 0.8), min_size=6, max_size=6))
@settings(max_examples=25)
def test_steps_keep_their_walls_and_bounds_whatever_is_asked(values):
    found = drafted(made(each(*values)))[0]
    nut, limits = found.nut, table("limits")
    spans = sorted(
        (min(a, s.centre - s.radius), max(b, s.centre + s.radius))
        for s in nut.slots
        for a, b in [(s.step.left, s.step.right) if s.step else (s.centre, s.centre)]
    )
    assert spans[0][0] >= limits["nut"]["end"] - 1e-9
    assert spans[-1][1] <= nut.length - limits["nut"]["end"] + 1e-9
    for (_, right), (left, _) in pairwise(spans):
        assert left - right >= limits["nut"]["web"] - 1e-9
    rng = np.random.default_rng(7)
    x, y = rng.uniform(0, nut.length, 20000), rng.uniform(0, nut.thickness, 20000)
    for stage in Stage:
        target = nut.at(stage)
        assert np.all(target.lower(x, y) <= target.upper(x, y, ALL) + 1e-12)
    back = nut.at(Stage.FINAL).lower(np.linspace(0, nut.length, 501), np.full(501, 1.7))
    plain = nut.with_whole_front(ALL).at(Stage.FINAL)
    same = plain.lower(np.linspace(0, nut.length, 501), np.full(501, 1.7))
    assert back == pytest.approx(same, abs=1e-9)  # behind the steps nothing is changed


def test_a_height_field_with_upright_walls(stepped):
    """A hair inside and outside every wall: from the step's bottom straight to the top."""
    target = stepped.nut.at(Stage.FINAL)
    for slot in (s for s in stepped.nut.slots if s.step):
        step, e = slot.step, 1e-9
        inside = target.lower(np.array([step.left + e, step.right - e]), np.full(2, step.back / 2))
        assert inside.tolist() == [step.bottom] * 2
        beyond = np.array([step.left - e, step.right + e, step.left + 0.1])
        y = np.array([step.back / 2, step.back / 2, step.back + e])
        assert target.lower(beyond, y) == pytest.approx(target.surface.height(beyond, y))


COURSES = demo_job("short-courses").read_text(encoding="utf-8")
NARROW = COURSES.replace('course_gap = "1.6 mm"', 'course_gap = "0.9 mm"', 1).replace(
    'compensation = "none"', 'compensation = { bass = "0.4 mm", treble = "0.1 mm" }', 1
)
DEEP = STEEL.read_text(encoding="utf-8").replace(
    "[nut]", f"[nut]\ncompensation = {each(2.9, -2.0, 0, 0, 0, 0)}", 1
)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (DEEP, ("mm of the nut would stay behind the step of string 5 (A2)", "under 2.0 mm")),
        (NARROW, ("could reach only", "beside its slot, under 0.2 mm")),
    ],
)
def test_what_no_maker_would_cut_is_refused_in_one_line(text, said):
    with pytest.raises(RefusedError) as refused:
        design(job_file.parse(text, "job.toml"))
    faults = [f for f in refused.value.faults if f.key == "nut.compensation"]
    assert faults, refused.value.faults
    for words in said:
        assert words in faults[0].wrong
    assert faults[0].fix
    assert "\n" not in str(faults[0])


def test_edges_worked_out_of_heights_that_cannot_be_are_refused():
    lines = STEEL.read_text(encoding="utf-8").splitlines()
    was = next(line for line in lines if line.startswith("first_fret"))
    with pytest.raises(RefusedError) as refused:
        design(made('"computed"', changes=[(was, 'first_fret = "2.0 mm"')]))
    fault = next(f for f in refused.value.faults if f.key == "nut.compensation")
    assert "outside -3 to 3 mm" in fault.wrong
    assert "first_fret" in fault.fix


def test_what_the_page_and_the_scatter_reckon_with_the_moved_edges(computed):
    """The scatter's middle is the design itself, so that no source is read from the old edge."""
    from blankcam.instrument.uncertainty import scatter

    found = scatter(computed.job, computed.instrument, samples=400)
    for one, string, data in zip(
        found.strings, computed.instrument.strings, computed.strings, strict=True
    ):
        y1, y12 = string.clearance(computed.instrument.board, np.array([1.0, 12.0]))
        assert one.first_fret.middle == pytest.approx(y1, abs=0.03)
        assert one.action.middle == pytest.approx(y12, abs=0.05)
        assert one.cents_first.middle == pytest.approx(data.cents[0], abs=0.3)


def test_a_nut_that_is_not_made_keeps_the_edges_that_the_job_gives():
    text = STEEL.read_text(encoding="utf-8")
    nut = next(line for line in text.splitlines() if line.startswith("nut ") and "length" in line)
    found = design(made(each(*GIVEN), changes=[(nut, "")]))
    assert found.nut is None
    assert [s.front for s in found.instrument.strings] == pytest.approx(list(GIVEN), abs=0.031)
    alone = design(made('"computed"', changes=[(nut, "")]))
    assert all(s.front == 0 for s in alone.instrument.strings)


def test_a_slot_without_its_step_is_the_same_groove(stepped):
    for slot in stepped.nut.slots:
        whole = slot.without_step()
        y = np.linspace(0.0, stepped.nut.thickness, 7)
        assert whole.floor(y) == pytest.approx(slot.floor(y), abs=1e-12)
        assert dataclasses.replace(whole, floor_front=0, step=None) == dataclasses.replace(
            slot, floor_front=0, step=None
        )
