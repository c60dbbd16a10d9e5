"""The strings of whole jobs: model heights against the clearances, published pulls, cautions."""

import math
import re
from dataclasses import replace

import numpy as np
import pytest

from blankcam.data import table
from blankcam.instrument import instrument as instruments
from blankcam.instrument import sound
from blankcam.job.job import KINDS
from blankcam.job.read import parse

# Anderson and Beausoleil's normal nylon, bass to treble: unit weight g/m, tension N, stiffness.
NYLON = {
    "E2": (1.092, "wound nylon", 5.470, 62.8, 58.2),
    "A2": (0.890, "wound nylon", 3.289, 67.3, 48.7),
    "D3": (0.736, "wound nylon", 1.920, 70.0, 46.0),
    "G3": (1.024, "nylon", 0.836, 54.2, 58.6),
    "B3": (0.818, "nylon", 0.505, 52.0, 48.7),
    "E4": (0.712, "nylon", 0.374, 68.6, 48.2),
}


def job(kind, extra=""):
    return parse(f'[instrument]\nname = "test"\nkind = "{kind}"\n{extra}', "job.toml")


def published():
    """A flat classical set up as in [AB]: lift 1.0, and action that puts the saddle 4 higher."""
    strings = "".join(
        f'[[strings]]\nnote = "{note}"\ngauge = "{d} mm"\nmake = "{make}"\n'
        f'unit_weight = "{mu} g/m"\nstiffness = {kappa}\n'
        for note, (d, make, mu, _, kappa) in NYLON.items()
    )
    return job(
        "classical",
        f'[board]\nrelief = "0 mm"\n{strings}\n[nut]\nlift = "1.0 mm"\n'
        '[saddle]\naction = "3.0 mm"\nfront_at = "650.5 mm"\n',
    )


def test_published_setbacks_through_a_whole_job():
    instrument = instruments.build(published())
    for s in instrument.strings:
        assert s.z_saddle - s.z_nut == pytest.approx(4.0)  # on a flat board c is just this
    model = sound.fretted(instrument)
    assert model.lift == pytest.approx(np.full(6, 1.0))
    assert model.rise == pytest.approx(np.full(6, 4.0))
    assert model.relief == pytest.approx(np.zeros(6))
    ridge, nut = sound.computed_setbacks_and_nut(instrument)
    assert ridge == pytest.approx([2.46, 1.82, 1.48, 2.33, 1.69, 1.48], abs=0.04)
    assert nut == pytest.approx([-0.43, -0.36, -0.34, -0.43, -0.36, -0.36], abs=0.04)


def test_published_tensions_through_a_whole_job():
    strings = sound.sounds(instruments.build(published()))
    for s in strings:
        assert s.force.tension == pytest.approx(NYLON[s.note][3], rel=0.003)
        assert s.force.assumed == ()
    assert sound.total_tension(strings) == pytest.approx(374.9, rel=1e-3)


@pytest.mark.parametrize("kind", KINDS)
def test_model_heights_give_back_the_clearance_at_fret_12(kind):
    """On boards with a radius too: b + c t + relief is the action asked for, whatever the surface."""
    instrument = instruments.with_setbacks(
        instruments.build(job(kind)), sound.computed_setbacks(instruments.build(job(kind)))
    )
    model = sound.fretted(instrument)
    for i, s in enumerate(instrument.strings):
        t = instrument.board.scale / 2 / s.length
        y12 = model.lift[i] + model.rise[i] * t + model.relief[i]
        assert y12 == pytest.approx(s.action, abs=1e-9)


@pytest.mark.parametrize("kind", KINDS)
def test_computed_setbacks_are_better_than_none_and_than_any_near(kind):
    start = instruments.build(job(kind))
    wanted = np.array(sound.computed_setbacks(start))

    def squares(setbacks):
        moved = instruments.with_setbacks(start, list(setbacks))
        return np.array([np.sum(np.square(s.cents)) for s in sound.sounds(moved)])

    best = squares(wanted)
    for off in (-0.3, -0.1, 0.1, 0.3):
        assert np.all(squares(wanted + off) > best)
    assert np.all(wanted > 0)
    assert np.all(best < squares(np.zeros(len(wanted))))


@pytest.mark.parametrize("kind", KINDS)
def test_typical_sets_are_not_cautioned_for_their_strings(kind):
    made = job(kind)
    start = instruments.build(made)
    instrument = instruments.with_setbacks(start, sound.computed_setbacks(start))
    found = list(sound.cautions(instrument, sound.sounds(instrument), slot_depth=100.0))
    assert [c for c in found if "note" in c or "weight" in c] == []


def test_heights_outside_the_usual_are_cautioned():
    made = job("steel-string")
    made = replace(made, board=replace(made.board, relief=0.6))
    instrument = instruments.build(made)
    low = replace(instrument.strings[0], z_nut=instrument.strings[0].z_nut - 0.6)
    strings = (low, *instrument.strings[1:])
    instrument = replace(instrument, strings=strings)
    found = list(sound.cautions(instrument, sound.sounds(instrument), slot_depth=5.0))
    assert any("clearance at fret 1 of" in c and "string 1" in c for c in found)
    assert any("relief of 0.60 mm" in c for c in found)


def test_break_angle_and_downforce_by_hand():
    instrument = instruments.build(published())
    found = sound.sounds(instrument, tie_height=1.0, tie_run=10.0)
    for s, path in zip(found, instrument.strings, strict=True):
        down = path.z_saddle - (instrument.bridge_top + 1.0)
        bend = math.atan(4.0 / 650) + math.atan(down / 10)
        assert s.break_angle == pytest.approx(bend)
        assert s.downforce == pytest.approx(2 * s.force.tension * math.sin(bend / 2))
    assert sound.sounds(instrument)[0].break_angle is None


def test_cents_lost_where_the_ridge_cannot_reach():
    """1 cent at fret 12 is 0.375 mm of saddle on 650 mm."""
    start = instruments.build(published())
    wanted = np.array(sound.computed_setbacks(start))
    short = instruments.with_setbacks(start, list(wanted - 0.375))
    assert sound.cents_lost(short, wanted) == pytest.approx(np.ones(6), abs=0.02)


def test_sensitivities_are_the_coefficients_of_the_action_geometry():
    first = 1 - 2 ** (-1 / 12)
    for words, at in zip(sound.SENSITIVITIES, ((0.5, first), (1 - first, 0.5)), strict=True):
        told = [float(v) for v in re.findall(r"by ([0-9.]+) mm", words)]
        assert told == pytest.approx([0.1 * v for v in at], abs=6e-4)


def test_every_kind_has_its_ranges():
    assert set(table("targets")) == set(KINDS)
