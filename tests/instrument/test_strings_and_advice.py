"""The strings of whole jobs: model heights against the clearances, published pulls, cautions."""

import math
import re
from dataclasses import replace

import numpy as np
import pytest

from blankcam.data import table
from blankcam.inputs import job_file
from blankcam.inputs.job import KINDS
from blankcam.inputs.job_file import parse
from blankcam.instrument import advice, nut_edges, strings
from blankcam.instrument import heights as instruments
from blankcam.parts.design import design
from tests.conftest import STEEL

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
    entries = "".join(
        f'[[strings]]\nnumber = {6 - i}\nnote = "{note}"\ngauge = "{d} mm"\nmake = "{make}"\n'
        f'unit_weight = "{mu} g/m"\nstiffness = {kappa}\n'
        for i, (note, (d, make, mu, _, kappa)) in enumerate(NYLON.items())
    )
    return job(
        "classical",
        f'finger = "0 mm"\n[board]\nrelief = "0 mm"\n{entries}\n[nut]\nlift = "1.0 mm"\n'
        '[saddle]\naction = "3.0 mm"\nfront_at = "650.5 mm"\n'
        'tie_height = "1 mm"\ntie_run = "10 mm"\n',
    )


def settled(made):
    start = instruments.build(made)
    return instruments.with_compensation(start, strings.computed_compensation(start))


def test_published_compensation_through_a_whole_job():
    instrument = instruments.build(published())
    for s in instrument.strings:
        assert s.z_saddle - s.z_nut == pytest.approx(4.0)  # on a flat board c is just this
        model = strings.fretted(instrument, s)
        assert (model.lift, model.rise, model.relief) == pytest.approx((1.0, 4.0, 0.0))
    ridge, nut = nut_edges.computed_compensation_and_nut(instrument)
    assert ridge == pytest.approx([2.46, 1.82, 1.48, 2.33, 1.69, 1.48], abs=0.04)
    assert nut == pytest.approx([-0.43, -0.36, -0.34, -0.43, -0.36, -0.36], abs=0.04)


def test_published_tensions_through_a_whole_job():
    made = published()
    data = strings.string_data(made, instruments.build(made))
    for s in data:
        assert s.force.tension == pytest.approx(NYLON[s.note][3], rel=0.003)
        assert s.force.assumed == ()
    assert advice.total_tension(data) == pytest.approx(374.9, rel=1e-3)


@pytest.mark.parametrize("kind", KINDS)
def test_model_heights_give_back_the_clearance_at_fret_12(kind):
    """On boards with a radius too: b + c t + relief is the action asked for, whatever
    the surface.
    """
    instrument = settled(job(kind))
    for s in instrument.strings:
        model = strings.fretted(instrument, s)
        y12 = model.lift + model.rise * instrument.board.scale / 2 / s.length + model.relief
        assert y12 == pytest.approx(s.action, abs=1e-9)


@pytest.mark.parametrize("kind", KINDS)
def test_computed_compensation_is_better_than_none_and_than_any_near(kind):
    made = job(kind)
    start = instruments.build(made)
    wanted = np.array(strings.computed_compensation(start))

    def squares(compensation):
        moved = instruments.with_compensation(start, list(compensation))
        return np.array([np.sum(np.square(s.cents)) for s in strings.string_data(made, moved)])

    best = squares(wanted)
    for off in (-0.3, -0.1, 0.1, 0.3):
        assert np.all(squares(wanted + off) > best)
    assert np.all(wanted > 0)
    assert np.all(best < squares(np.zeros(len(wanted))))


def every_caution(made, instrument):
    data = strings.string_data(made, instrument)
    return [
        *strings.cautions(made, instrument, data),
        *advice.cautions(made, instrument, data),
    ]


@pytest.mark.parametrize("kind", KINDS)
def test_typical_sets_and_heights_are_not_cautioned(kind):
    made = job(kind)
    found = every_caution(made, settled(made))
    assert [c for c in found if "check its" in c or "usual" in c] == []


def test_heights_outside_the_usual_are_cautioned():
    made = job("steel-string")
    made = replace(made, board=replace(made.board, relief=0.6))
    instrument = instruments.build(made)
    low = replace(instrument.strings[0], z_nut=instrument.strings[0].z_nut - 0.6)
    instrument = replace(instrument, strings=(low, *instrument.strings[1:]))
    found = every_caution(made, instrument)
    assert any("clearance at fret 1 of" in c and "string 6" in c for c in found)
    assert any("relief of 0.60 mm" in c for c in found)


SIX = ["E2", "A2", "D3", "G3", "B3", "E4"]


def numbered(notes, numbers):
    return "".join(
        f'[[strings]]\nnumber = {n}\nnote = "{note}"\ngauge = "0.8 mm"\nmake = "nylon"\n'
        for note, n in zip(notes, numbers, strict=True)
    )


@pytest.mark.parametrize(
    ("kind", "extra", "asked"),
    [
        ("classical", numbered(SIX, range(6, 0, -1)), False),
        ("classical", numbered(SIX, range(1, 7)), True),  # counted from the bass
        ("ukulele", numbered(["G4", "C4", "E4", "A4"], range(4, 0, -1)), False),  # re-entrant
        ("banjo", numbered(["G4", "D3", "G3", "B3", "D4"], range(5, 0, -1)), False),  # short fifth
        ("classical", '[nut]\nfirst_fret = { bass = "0.4 mm", treble = "0.55 mm" }\n', True),
        ("classical", '[saddle]\naction = { bass = "3.0 mm", treble = "3.9 mm" }\n', True),
        ("classical", '[nut]\nfirst_fret = "0.6 mm"\n[saddle]\naction = "3.5 mm"\n', False),
        (
            "steel-string",
            '[saddle]\nfront_at = { bass = "645.1 mm", treble = "647.9 mm" }\n',
            True,
        ),
    ],
)
def test_what_looks_as_if_the_sides_were_swapped_is_asked_about(kind, extra, asked):
    made = job(kind, extra)
    found = every_caution(made, instruments.build(made))
    words = ("number them the other way round", "are the two swapped?")
    assert any(w in c for c in found for w in words) == asked


def test_a_wrong_note_a_wrong_weight_and_far_frets_are_cautioned():
    made = job("steel-string")
    first = replace(made.strings[0], note="E1", unit_weight=3.0)
    made = replace(made, strings=(first, *made.strings[1:]))
    found = every_caution(made, instruments.build(made))
    assert any("too slack" in c or "outside" in c for c in found)
    assert any("far from" in c for c in found)
    assert any("cents off at fret" in c for c in found)


def test_break_angle_and_downforce_by_hand():
    made = published()
    instrument = instruments.build(made)
    data = strings.string_data(made, instrument)
    for s, path in zip(data, instrument.strings, strict=True):
        down = path.z_saddle - (instrument.bridge_top + 1.0)
        bend = math.atan(4.0 / 650) + math.atan(down / 10)
        assert s.break_angle == pytest.approx(bend)
        assert s.downforce == pytest.approx(2 * s.force.tension * math.sin(bend / 2))


def test_sensitivities_are_the_coefficients_of_the_action_geometry():
    first = 1 - 2 ** (-1 / 12)
    for words, at in zip(advice.SENSITIVITIES, ((0.5, first), (1 - first, 0.5)), strict=True):
        told = [float(v) for v in re.findall(r"by ([0-9.]+) mm", words)]
        assert told == pytest.approx([0.1 * v for v in at], abs=6e-4)


def test_every_kind_and_make_has_its_table():
    assert set(table("targets")) - {"source"} == set(KINDS)


def test_moved_nut_edges_are_told_with_what_they_would_do(tmp_path):
    text = STEEL.read_text(encoding="utf-8")
    path = tmp_path / "job.toml"
    path.write_text(text.replace("[nut]", '[nut]\ncompensation = "computed"', 1), encoding="utf-8")
    found = design(job_file.load(str(path)))
    plain = design(job_file.load(str(STEEL)))
    assert plain.edges == ()
    # A string with lift wants its edge toward the saddle [AB], so that the board's end is in the
    # way; where the saddle can't come near enough, the edge makes up for it the other way.
    for edge, seat in zip(found.edges, found.saddle.strings, strict=True):
        if abs(seat.wanted_compensation - seat.compensation) < 0.1:
            assert edge.forward > 0
    assert min(e.back for e in found.edges) == 0
    for edge, string in zip(found.edges, plain.strings, strict=True):
        assert sum(c * c for c in edge.cents) < sum(c * c for c in string.cents)
    assert any("shorten the board's end" in c for c in found.cautions)


def test_usual_heights_go_from_bass_to_treble():
    found = design(job_file.load(str(STEEL)))
    usual = advice.usual_heights("bass", found.instrument.strings)
    # The sheet's .56 / .51 at fret 1; 2.67 / 2.39 at fret 17 brought to fret 12 by hand.
    assert usual[0] == pytest.approx((0.56, 2.21), abs=1e-9)
    assert usual[-1] == pytest.approx((0.51, 1.98), abs=1e-9)
