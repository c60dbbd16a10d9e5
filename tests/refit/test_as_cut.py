"""The parts while the instrument is set up: heights by hand, never over what stands, whole rounds."""

import math
from dataclasses import replace

import numpy as np
import pytest

from blankcam.faults import RefusedError
from blankcam.inputs.job_file import parse
from blankcam.parts.design import design
from blankcam.parts.part import Stage
from blankcam.refit.as_cut import (
    Taken,
    after,
    as_made,
    bottom_trim,
    cautions,
    end_heights,
    readings_of,
)
from blankcam.refit.needs import refit
from tests.conftest import first_then_long

KINDS = ("classical", "steel-string", "electric", "ukulele", "mandolin")
X = np.linspace(0, 30, 61)


def designed(kind="steel-string", extra=""):
    return design(parse(f'[instrument]\nname = "x"\nkind = "{kind}"\n{extra}', "job.toml"))


def taken(found, **changes):
    count = len(found.nut.slots)
    values = {
        "nut": (0.0,) * count,
        "saddle": (0.0,) * count,
        "saddle_by": "nothing",
        "bottom_left": 0.0,
        "bottom_right": 0.0,
    }
    return Taken(**(values | changes))


def test_rough_parts_stand_higher_by_hold_back_and_allowances():
    found = designed()
    now = as_made(found, Stage.ROUGH)
    for standing, finished in zip(now.nut.slots, found.nut.slots, strict=True):
        assert standing.floor_front - finished.floor_front == pytest.approx(0.2)
    assert now.nut.top.height(X) - found.nut.top.height(X) == pytest.approx(1.0)
    assert now.saddle.top.height(X) - found.saddle.top.height(X) == pytest.approx(0.5)
    assert now.saddle.height == pytest.approx(found.saddle.height + 0.5)
    assert not now.top_done


def test_final_parts_stand_as_designed():
    found = designed()
    now = as_made(found, Stage.FINAL)
    assert now.top_done
    assert [s.floor_front for s in now.nut.slots] == [s.floor_front for s in found.nut.slots]
    assert now.saddle.top.height(X) == pytest.approx(found.saddle.top.height(X))


def test_taking_the_hold_back_and_the_allowance_gives_the_finished_parts():
    found = designed()
    made = after(
        found,
        as_made(found, Stage.ROUGH),
        taken(found, nut=(0.2,) * 6, saddle_by="bottom", bottom_left=0.5, bottom_right=0.5),
    )
    for standing, finished in zip(made.nut.slots, found.nut.slots, strict=True):
        assert standing.floor_front == pytest.approx(finished.floor_front)
        assert standing.exposure == pytest.approx(finished.exposure, abs=1e-9)
        assert standing.lift == pytest.approx(finished.lift)
    assert made.nut.top.height(X) == pytest.approx(found.nut.top.height(X), abs=1e-9)
    assert made.saddle.top.height(X) == pytest.approx(found.saddle.top.height(X), abs=1e-9)
    assert made.saddle.top_radius == found.saddle.top_radius


def test_a_slanting_trim_lowers_each_string_by_its_share():
    found = designed()
    now = as_made(found, Stage.ROUGH)
    cut = taken(found, saddle_by="bottom", bottom_left=0.6, bottom_right=0.2)
    made = after(found, now, cut)
    for before, seat in zip(now.saddle.strings, made.saddle.strings, strict=True):
        share = seat.centre / found.saddle.length
        top = float(now.saddle.top.height(np.array(before.centre)))
        assert top - seat.height == pytest.approx(0.6 - 0.4 * share)
    left, right = end_heights(now.saddle)
    new_left, new_right = end_heights(made.saddle)
    assert left - new_left == pytest.approx(0.6, abs=0.02)
    assert right - new_right == pytest.approx(0.2, abs=0.02)


def test_the_trimmed_underside_lies_where_the_saddle_is_lowered():
    """Turned over: what is left between underside and crown is the lowered saddle, at every x."""
    found = designed()
    now = as_made(found, Stage.ROUGH)
    cut = taken(found, saddle_by="bottom", bottom_left=0.6, bottom_right=0.2)
    piece, made = bottom_trim(now.saddle, cut), after(found, now, cut)
    # the crown lies at height - top(x) over the plane that its highest point rests on
    crown = now.saddle.height - now.saddle.top.height(X)
    assert piece.top.height(X) - crown == pytest.approx(made.saddle.top.height(X))
    assert piece.slots == ()


def test_a_new_crown_goes_through_every_height_and_nowhere_over_the_old():
    found = designed()
    now = as_made(found, Stage.ROUGH)
    takes = (0.3, 0.1, 0.4, 0.25, 0.0, 0.2)
    made = after(found, now, taken(found, saddle=takes, saddle_by="crown"))
    for before, seat, take in zip(found.saddle.strings, made.saddle.strings, takes, strict=True):
        old = float(now.saddle.top.height(np.array(before.centre)))
        assert old - seat.height == pytest.approx(take)
        assert float(made.saddle.top.height(np.array(seat.centre))) == pytest.approx(seat.height)
    x = np.linspace(0, found.saddle.length, 2000)
    assert np.all(made.saddle.top.height(x) <= now.saddle.top.height(x) + 1e-9)
    slope = (made.saddle.top.height(x + 1e-5) - made.saddle.top.height(x - 1e-5)) / 2e-5
    assert made.saddle.top.slope(x[1:-1]) == pytest.approx(slope[1:-1], abs=1e-3)
    assert made.saddle.top_radius is None


@pytest.mark.parametrize("kind", KINDS)
def test_no_new_nut_stands_over_the_old_one(kind):
    found = designed(kind)
    count = len(found.nut.slots)
    rng = np.random.default_rng(1)
    now = as_made(found, Stage.ROUGH)
    x = np.linspace(0, found.nut.length, 400)[None, :]
    y = np.linspace(0, found.nut.thickness, 20)[:, None]
    before = found.nut.at(Stage.ROUGH).lower(x, y)  # as milled: windows opened over the slots
    for _ in range(3):
        made = after(found, now, taken(found, nut=tuple(rng.uniform(0, 0.15, count))))
        surface = made.nut.at(Stage.FINAL).lower(x, y)
        assert np.max(surface - before) <= 1e-9
        assert np.all(made.nut.top.height(x) <= now.nut.top.height(x) + 1e-9)
        before, now = surface, made


def test_less_taken_than_the_hold_back_never_asks_for_waste_that_is_gone():
    found = designed()
    made = after(found, as_made(found, Stage.ROUGH), taken(found, nut=(0.05,) * 6))
    assert np.all(made.nut.top.height(X) <= found.nut.top.height(X) + 1e-9)
    for standing, finished in zip(made.nut.slots, found.nut.slots, strict=True):
        assert standing.depth_front == pytest.approx(finished.depth_front - 0.15, abs=0.01)
    assert any("string may jump out" in c for c in cautions(made))


def test_a_saddle_or_a_floor_that_would_be_gone_is_refused():
    found = designed()
    now = as_made(found, Stage.FINAL)
    with pytest.raises(RefusedError, match="of the seat"):
        after(found, now, taken(found, nut=(5.0,) * 6))
    low = taken(found, saddle_by="bottom", bottom_left=9.0, bottom_right=9.0)
    with pytest.raises(RefusedError, match="at its lowest"):
        after(found, now, low)


def clearances(found, standing, truth):
    """Of the true instrument: frets and seats off by what ``truth`` says, parts as they stand."""
    instrument = found.instrument
    s = instrument.board.fret_at(np.array([1.0, 12.0]))
    read = []
    for path, slot, seat in zip(
        instrument.strings, standing.nut.slots, standing.saddle.strings, strict=True
    ):
        z_nut = slot.floor_front + instrument.nut_floor - truth["seat"]
        top = float(standing.saddle.top.height(np.array(seat.centre)))
        z_saddle = top + instrument.saddle_floor - truth["slot"]
        t = s / path.length
        tops = instrument.board.fret_top(s, path.across(s)) + truth["frets"]
        read.append(z_nut * (1 - t) + z_saddle * t - tops)
    return np.array(read)


@pytest.mark.parametrize("hand", ["right", "left"])
@pytest.mark.parametrize("kind", first_then_long(KINDS))
def test_two_rounds_on_whole_jobs_with_hidden_errors(kind, hand):
    """Through the parts themselves, 20 instruments a kind: both clearances within 0.05, none low."""
    found = design(
        parse(f'[instrument]\nname = "x"\nkind = "{kind}"\nhanded = "{hand}"\n', "job.toml")
    )
    want = np.array([p.clearance(found.instrument.board, np.array([1.0, 12.0]))
                     for p in found.instrument.strings])  # fmt: skip
    rng, u = np.random.default_rng(11), 0.02
    for _ in range(20):
        truth = {
            "seat": rng.uniform(-0.08, 0.08),
            "slot": rng.uniform(-0.2, 0.2),
            "frets": rng.uniform(-0.05, 0.03, 2),
        }
        standing = as_made(found, Stage.ROUGH)
        for _ in range(2):
            noisy = clearances(found, standing, truth) + rng.uniform(-u, u, want.shape)
            done = refit(
                readings_of(
                    found,
                    first_fret=noisy[:, 0],
                    action=noisy[:, 1],
                    want_first_fret=want[:, 0],
                    want_action=want[:, 1],
                ),
                uncertainty=u,
                saddle_length=found.saddle.length,
            )
            standing = after(found, standing, Taken.of(done))
            over = clearances(found, standing, truth) - want
            assert over.min() >= -0.008
        assert over.max() <= 0.05


def test_readings_carry_the_places_of_their_strings():
    found = designed("mandolin")
    count = len(found.nut.slots)
    rows = readings_of(
        found,
        first_fret=[1.0] * count,
        action=[2.0] * count,
        want_first_fret=[0.5] * count,
        want_action=[1.5] * count,
    )
    for row, path, seat in zip(rows, found.instrument.strings, found.saddle.strings, strict=True):
        assert row.t12 == pytest.approx(found.job.instrument.scale / 2 / path.length)
        assert row.place == seat.centre
        assert math.isclose(row.first_fret - row.want_first_fret, 0.5)


def test_replacing_nothing_changes_nothing():
    found = designed()
    now = as_made(found, Stage.FINAL)
    assert after(found, now, taken(found)) == replace(now)
