"""The simulation against linear error propagation worked from the action geometry, and its laws."""

import math
import time
from dataclasses import replace

import numpy as np
import pytest

from blankcam.inputs.job_file import parse
from blankcam.instrument import heights as instruments
from blankcam.instrument import strings
from blankcam.instrument.uncertainty import (
    LAST_FRET,
    SAMPLES,
    draw,
    scatter,
    standard_deviations,
    true_strings,
)

FIRST = 1 - 2 ** (-1 / 12)


def ready(kind="steel-string", extra=""):
    made = parse(f'[instrument]\nname = "test"\nkind = "{kind}"\n{extra}', "job.toml")
    start = instruments.build(made)
    return made, instruments.with_compensation(start, strings.computed_compensation(start))


FLAT = """
[board]
radius = "flat"
relief = "0 mm"
[saddle]
tie_height = "0 mm"
tie_run = "12 mm"
"""


def still(instrument):
    count = len(instrument.strings)
    single = [
        "seat_drop",
        "slot_depth",
        "fret_height",
        "relief",
        "fret_line",
        "front_at",
        "movement",
        "nut_cut",
        "saddle_cut",
    ]
    drawn = {name: np.zeros(1) for name in single}
    drawn |= {name: np.zeros((1, count)) for name in ("gauge", "stiffness", "tool")}
    return drawn | {"board": np.zeros((1, LAST_FRET))}


def test_nothing_off_is_the_design_itself():
    made, instrument = ready(extra=FLAT)
    truth = true_strings(made, instrument, still(instrument))
    data = strings.string_data(made, instrument)
    for i, path in enumerate(instrument.strings):
        assert truth.clearance[0, i, [0, 11]] == pytest.approx([path.first_fret, path.action])
        assert truth.cents[0, i] == pytest.approx(data[i].cents, abs=1e-6)
        assert truth.bend[0, i] == pytest.approx(data[i].break_angle)


@pytest.mark.parametrize(
    ("source", "at_1", "at_12"),
    [
        # A deeper seat lowers the string by the nut's coefficients .9439 and .5 (tables of the
        # action
        # geometry); a deeper saddle slot or a higher fret line by the saddle's, .0561 and .5.
        ("seat_drop", -(1 - FIRST), -0.5),
        ("nut_cut", 1 - FIRST, 0.5),
        ("slot_depth", -FIRST, -0.5),
        ("fret_line", -FIRST, -0.5),
        ("saddle_cut", FIRST, 0.5),
        # Higher frets raise the saddle with them (fret_line is over the frets), not the nut.
        ("fret_height", FIRST - 1, 0.5 - 1),
    ],
)
def test_each_source_moves_the_clearances_by_the_action_coefficients(source, at_1, at_12):
    made, instrument = ready(extra=FLAT)
    drawn = still(instrument)
    before = true_strings(made, instrument, drawn).clearance[0]
    drawn[source] = np.array([0.1])
    moved = true_strings(made, instrument, drawn).clearance[0] - before
    # ridges lie 1 to 5 mm beyond the scale length: coefficients within 1 per cent
    assert moved[:, 0] == pytest.approx(0.1 * at_1, rel=0.012)
    assert moved[:, 11] == pytest.approx(0.1 * at_12, rel=0.012)


def test_relief_lowers_the_frets_by_its_parabola():
    made, instrument = ready(extra=FLAT)
    drawn = still(instrument)
    before = true_strings(made, instrument, drawn).clearance[0]
    drawn["relief"] = np.array([0.1])
    moved = true_strings(made, instrument, drawn).clearance[0] - before
    s = instrument.board.scale * (1 - 2.0 ** (-np.array([1, 7, 14, 17]) / 12))
    half = (s[1] - s[0]) / (s[2] - s[0])
    assert moved[0, [0, 6, 13, 16]] == pytest.approx([0, 0.4 * half * (1 - half), 0, 0], abs=1e-9)


def test_scatter_is_linear_error_propagation():
    """Standard deviations of both clearances by hand: the root of the sum of squares."""
    made, instrument = ready(extra=FLAT)
    sd = standard_deviations(made)
    truth = true_strings(made, instrument, draw(made, instrument, 20_000, 3))
    nut = sd["seat_drop"] ** 2 + sd["nut_cut"] ** 2
    saddle = sd["slot_depth"] ** 2 + sd["fret_line"] ** 2 + sd["saddle_cut"] ** 2
    saddle += sd["movement"] ** 2
    for fret, t in ((1, FIRST), (12, 0.5)):
        frets = sd["board"] ** 2 + ((1 - t) * sd["fret_height"]) ** 2
        dip = true_dip(instrument, fret) * sd["relief"]
        by_hand = math.sqrt((1 - t) ** 2 * nut + t**2 * saddle + frets + dip**2)
        found = truth.clearance[:, :, fret - 1].std(axis=0)
        assert found == pytest.approx(by_hand, rel=0.03)
        assert truth.clearance[:, :, fret - 1].mean(axis=0) == pytest.approx(
            [p.first_fret if fret == 1 else p.action for p in instrument.strings], abs=0.003
        )


def true_dip(instrument, fret):
    first, at, body = (1 - 2.0 ** (-n / 12) for n in (1, fret, instrument.board.body_fret))
    t = (at - first) / (body - first)
    return 4 * t * (1 - t)


def test_bands_are_those_of_a_normal_distribution():
    made, instrument = ready(extra=FLAT)
    found = scatter(made, instrument)
    truth = true_strings(made, instrument, draw(made, instrument, SAMPLES, 99))
    for i, s in enumerate(found.strings):
        sd = truth.clearance[:, i, 11].std()
        # the standard error of a median is 1.2533 sd / sqrt(samples); four of them
        error = 4 * 1.2533 * sd / math.sqrt(SAMPLES)
        assert s.action.middle == pytest.approx(instrument.strings[i].action, abs=error)
        assert s.action.high - s.action.low == pytest.approx(2 * 1.6449 * sd, rel=0.04)


def test_cents_scatter_by_the_ridge_as_one_cent_for_its_published_length():
    """1 cent at fret 12 for 0.375 mm of saddle on 650 mm, so that 0.2 mm sd are 0.53 cents."""
    zero = "\n".join(
        f'{k} = "0 mm"' for k in ("board", "seat", "fret_height", "relief", "fret_line", "movement")
    )
    nothing = '[uncertainty]\nfront_at = "0.2 mm"\ngauge = "0 mm"\ntool = "0 mm"\n'
    made, instrument = ready("classical", f'{nothing}machine = "0 mm"\n{zero}\n')
    told = tuple(replace(s, stiffness=50.0) for s in instrument.strings)
    truth = true_strings(
        made,
        replace(instrument, strings=told),
        draw(made, replace(instrument, strings=told), 9000, 1),
    )
    assert truth.cents[..., 11].std(axis=0) == pytest.approx(0.2 / 0.375, rel=0.03)


def test_shares_add_up_and_the_greatest_is_named():
    made, instrument = ready(extra=FLAT + '[uncertainty]\nseat = "0.4 mm"\n')
    found = scatter(made, instrument)
    for result in ("clearance at fret 1", "action", "break angle", "cents at fret 12"):
        mine = [s for s in found.shares if s.result == result]
        assert sum(s.share for s in mine) == pytest.approx(1.0, abs=0.05)
        assert mine[0].share == max(s.share for s in mine)
    first = next(s for s in found.shares if s.result == "clearance at fret 1")
    assert first.source == "seat_drop"
    # by hand: .9439^2 .4^2 of that and .0561^2 .4^2 + the small rest
    assert first.share == pytest.approx(0.99, abs=0.01)
    assert any("nut.seat_drop" in w and "measure it again" in w for w in found.words)


def test_a_bad_seat_measurement_makes_a_chance_of_buzz_that_a_normal_table_gives():
    """Clearance at fret 1 of 0.40 with a sd of 0.2: 0.15 is 1.25 sd below, chance 0.1056."""
    zero = "\n".join(
        f'{k} = "0 mm"'
        for k in ("board", "fret_height", "relief", "fret_line", "machine", "movement")
    )
    made, instrument = ready(
        extra=FLAT + f'[nut]\nfirst_fret = "0.40 mm"\n[uncertainty]\nseat = "0.2 mm"\n{zero}\n'
    )
    found = scatter(made, instrument, samples=20_000)
    sd = 0.2 * math.hypot(1 - FIRST, FIRST)
    chance = 0.5 * math.erfc(0.25 / sd / math.sqrt(2))
    for s in found.strings:
        assert s.buzz == pytest.approx(chance, abs=0.008)
    assert found.buzz == pytest.approx(chance, abs=0.008)
    assert any("would buzz" in w for w in found.words)


def test_a_high_fret_buzzes_under_a_fretted_string():
    made, instrument = ready(extra=FLAT)
    drawn = still(instrument)
    assert not true_strings(made, instrument, drawn).buzzes.any()
    drawn["board"][0, 7] = 0.5  # fret 8 stands half a millimetre proud; open strings clear it
    truth = true_strings(made, instrument, drawn)
    assert truth.clearance[0, :, 7].min() > 0.15
    assert truth.buzzes.all()
    # by hand: pressed at fret 7 the string runs to the ridge under the top of fret 8
    s7, s8 = (instrument.board.scale * (1 - 2.0 ** (-n / 12)) for n in (7, 8))
    path = instrument.strings[0]
    top = made.board.fret_height
    at_8 = top + (path.z_saddle - top) * (s8 - s7) / (path.length - s7)
    assert at_8 < top + 0.5


def test_a_thick_string_binds():
    made, instrument = ready(extra=FLAT + '[nut]\nclearance = "0.01 mm"\n')
    found = scatter(made, instrument)
    sd = standard_deviations(made)
    chance = 0.5 * math.erfc(0.01 / math.hypot(sd["gauge"], sd["tool"]) / math.sqrt(2))
    assert found.strings[0].binds == pytest.approx(chance, abs=0.02)
    assert any("would bind" in w for w in found.words)


@pytest.mark.parametrize("kind", ["classical", "electric", "mandolin", "bass"])
def test_other_kinds(kind):
    made, instrument = ready(kind)
    found = scatter(made, instrument, samples=500)
    assert len(found.strings) == len(instrument.strings)
    assert found.strings[0].break_angle is None or made.saddle.tie_run


def test_the_same_seed_is_the_same_answer():
    made, instrument = ready(extra=FLAT)
    assert scatter(made, instrument, samples=300) == scatter(made, instrument, samples=300)


def test_ten_thousand_samples_of_six_strings_take_under_a_second():
    made, instrument = ready()
    start = time.process_time()
    scatter(made, instrument, samples=10_000)
    assert time.process_time() - start < 1.0
