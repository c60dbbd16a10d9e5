"""Tension and stiffness against published string tables, handbook values and worked formulae."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from blankcam.data import table
from blankcam.inputs.job import MAKES
from blankcam.instrument import tension as t
from blankcam.instrument.pitch import hertz

NOTES = ("E4", "B3", "G3", "D3", "A2", "E2")
# Anderson and Beausoleil, J. Acoust. Soc. Am. 156, 683 (2024), specification tables: gauge mm,
# unit weight g/m, tension N at 650 mm.
PUBLISHED = {
    "nylon light": ".698/.361/66.4 .806/.487/50.2 1.008/.808/52.5 .712/1.822/66.4 .838/2.741/56.0 1.066/5.158/59.2",
    "nylon normal": ".712/.374/68.6 .818/.505/52.0 1.024/.836/54.2 .736/1.920/70.0 .890/3.289/67.3 1.092/5.470/62.8",
    "nylon hard": ".724/.386/70.9 .830/.522/53.8 1.042/.856/55.6 .762/2.007/73.1 .914/3.486/71.3 1.118/5.666/65.0",
    "nylon extra-hard": ".736/.401/73.6 .846/.544/56.1 1.056/.891/57.8 .762/2.007/73.1 .914/3.486/71.3 1.142/6.134/70.4",
    "fluorocarbon normal": ".610/.464/85.3 .690/.607/62.6 .840/.893/58.0 .712/1.643/59.9 .890/3.089/63.2 1.118/5.715/65.6",
    "fluorocarbon hard": ".630/.500/91.8 .712/.643/66.3 .862/.946/61.4 .736/1.839/67.0 .914/3.554/72.7 1.168/6.125/70.3",
}
STRINGS = [
    (name, note, *map(float, entry.split("/")))
    for name, row in PUBLISHED.items()
    for note, entry in zip(NOTES, row.split(), strict=True)
]


@pytest.mark.parametrize(("name", "note", "gauge", "weight", "pull"), STRINGS)
def test_published_tensions(name, note, gauge, weight, pull):
    assert t.tension(weight, 650, hertz(note)) == pytest.approx(pull, rel=0.003)


@pytest.mark.parametrize(("name", "note", "gauge", "weight", "pull"), STRINGS)
def test_unit_weight_from_make_and_gauge_is_as_good_as_it_says(name, note, gauge, weight, pull):
    make = name.split()[0] if note in NOTES[:3] else "wound nylon"
    band = table("strings")[make]["band"]
    assert t.unit_weight(make, gauge) == pytest.approx(weight, rel=band)


def test_sum_of_a_published_set():
    rows = [s for s in STRINGS if s[0] == "nylon normal"]
    assert sum(t.tension(s[3], 650, hertz(s[1])) for s in rows) == pytest.approx(374.9, rel=0.001)


# Plain steel, density 7.85 g/cm3, E = 200 GPa, L = 648 mm; worked by hand from the formulae.
@pytest.mark.parametrize(
    ("gauge", "note", "weight", "pull", "stress", "kappa"),
    [
        (0.2540, "E4", 0.3978, 72.59, 1432.6, 139.6),
        (0.3048, "E4", 0.5728, 104.53, 1432.6, 139.6),
        (0.3302, "B3", 0.6722, 68.85, 804.0, 248.7),
        (0.4064, "B3", 1.0183, 104.30, 804.0, 248.7),
    ],
)
def test_plain_steel(gauge, note, weight, pull, stress, kappa):
    force = t.string_force(make="plain steel", gauge=gauge, scale=648, frequency=hertz(note))
    assert force.unit_weight == pytest.approx(weight, abs=1e-4)
    assert force.tension == pytest.approx(pull, rel=2e-4)
    assert force.stress == pytest.approx(stress, rel=1e-4)
    assert force.stiffness == pytest.approx(kappa, rel=5e-4)


def test_the_inch_formula_of_the_trade_gives_the_same_tension():
    # T[lbf] = UW[lb/in] (2 L[in] f)^2 / 386.09, the acceleration of gravity in in/s^2.
    weight = 1.0183
    in_pounds = weight / (453.59237 / 0.0254)  # g/m to lb/in: 453.59237 g a pound, 0.0254 m an inch
    pull = in_pounds * (2 * 648 / 25.4 * hertz("B3")) ** 2 / 386.0886
    assert t.pounds(t.tension(weight, 648, hertz("B3"))) == pytest.approx(pull, rel=1e-6)


def test_units():
    assert t.pounds(4.44822) == pytest.approx(1.0, rel=1e-6)


@pytest.mark.property
@given(
    gauge=st.floats(0.2, 1.5),
    other=st.floats(0.2, 1.5),
    scale=st.floats(300, 900),
    frequency=st.floats(40, 700),
)
def test_stress_and_stiffness_of_a_plain_string_do_not_depend_on_gauge(
    gauge, other, scale, frequency
):
    one, two = (
        t.string_force(make="plain steel", gauge=g, scale=scale, frequency=frequency)
        for g in (gauge, other)
    )
    assert one.stress == pytest.approx(two.stress)
    assert one.stiffness == pytest.approx(two.stiffness)


def test_given_values_are_taken_and_assumed_ones_are_said():
    kwargs = {"make": "wound steel", "gauge": 1.346, "scale": 628, "frequency": hertz("E2")}
    free = t.string_force(**kwargs)
    told = t.string_force(**kwargs, unit_weight_given=10.2, stiffness_given=300)
    assert told.unit_weight == 10.2
    assert told.stiffness == 300
    assert told.assumed == ()
    assert told.unit_weight_band == told.stiffness_band == 0
    assert len(free.assumed) == 2
    # a core of 0.33 at 0.053 in (from memory, common practice)
    assert "core 0.33 of the gauge" in free.assumed[1]
    assert free.bending_radius == pytest.approx(0.33 * 1.346 / 2, rel=0.01)


def test_density_of_a_wound_string_from_its_geometry():
    # A core of c under one close layer of round wire w = (1 - c)/2: the wire's axial section fills
    # pi/4 of its ring, so mass per length = pi^2/4 * w (c + w) * density of the wrap.
    bronze, steel = 8.8, 7.85
    data = table("strings")["wound steel"]
    for gauge, core in data["core"]:
        wire = (1 - core) / 2
        wrap = math.pi**2 / 4 * wire * (core + wire) * bronze
        whole = (wrap + math.pi / 4 * core**2 * steel) / (math.pi / 4)
        assert data["density"] == pytest.approx(whole, rel=0.05), gauge


# 2 T sin(th/2) and T (1 - cos th) for T = 70 N, worked with tables of sines.
@pytest.mark.parametrize(
    ("degrees", "force"),
    [(5, 6.11), (10, 12.20), (15, 18.27), (20, 24.31), (25, 30.30), (30, 36.23), (45, 53.58)],
)
def test_downforce(degrees, force):
    assert t.downforce(70, math.radians(degrees)) == pytest.approx(force, abs=0.006)


def test_break_angle_by_hand():
    # 3 up over 600, then 5 down over 11: atan(.005) + atan(.4545) = .2865 + 24.4440 degrees.
    bend = t.break_angle(z_nut=1, z_saddle=4, length=600, z_tie=-1, run=11)
    assert math.degrees(bend) == pytest.approx(24.7305, abs=1e-3)


@pytest.mark.parametrize(
    ("make", "gauge", "note", "kind", "word"),
    [
        ("plain steel", 0.305, "E5", "steel-string", "more than"),
        ("plain steel", 0.305, "E2", "steel-string", "slack"),
        ("nylon", 0.712, "E2", "classical", "slack"),
        ("wound steel", 1.346, "E3", "steel-string", "outside"),
    ],
)
def test_a_wrong_note_or_gauge_is_cautioned(make, gauge, note, kind, word):
    force = t.string_force(make=make, gauge=gauge, scale=648, frequency=hertz(note))
    found = t.force_cautions(force, note=note, make=make, kind=kind)
    assert any(word in line and "check" in line for line in found)


@pytest.mark.parametrize(("name", "note", "gauge", "weight", "pull"), STRINGS)
def test_published_strings_are_not_cautioned(name, note, gauge, weight, pull):
    make = name.split()[0] if note in NOTES[:3] else "wound nylon"
    force = t.string_force(
        make=make, gauge=gauge, scale=650, frequency=hertz(note), unit_weight_given=weight
    )
    assert t.force_cautions(force, note=note, make=make, kind="classical") == []


def test_a_unit_weight_far_from_make_and_gauge_is_cautioned():
    kwargs = {"make": "wound steel", "gauge": 1.346, "scale": 648, "frequency": hertz("E2")}
    for weight, count in ((10.2, 0), (7.0, 1), (14.0, 1)):
        force = t.string_force(**kwargs, unit_weight_given=weight)
        found = t.weight_cautions(force, note="E2", make="wound steel", gauge=1.346)
        assert len(found) == count


def test_break_angle_and_lean_cautions():
    assert t.bend_cautions(math.radians(10.1), note="E2") == []
    assert "9.9 degrees" in t.bend_cautions(math.radians(9.9), note="E2")[0]
    assert t.lean_cautions(exposed=5.5, slot_depth=5.5) == []
    assert "lean" in t.lean_cautions(exposed=6, slot_depth=5.5)[0]


def test_every_make_has_its_data_and_source():
    assert set(table("strings")) == set(MAKES)
    for make in MAKES:
        data = table("strings")[make]
        assert data["source"]
        assert ("modulus" in data) != ("stiffness" in data)
        assert 0 < data["stress_least"] < data["stress_most"]
