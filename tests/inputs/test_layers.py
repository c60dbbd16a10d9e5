"""Layers as a profile may set them, and what may go under a laser."""

from __future__ import annotations

import pytest

from blankcam.data import table
from blankcam.faults import InputError, RefusedError
from blankcam.inputs.job import MATERIALS
from blankcam.inputs.layers import changed, default_layers
from blankcam.inputs.machine_file import parse_profile
from blankcam.safety import laser_cautions


def test_a_profiles_rows_come_first_and_keep_the_rest():
    rules = changed(({"holds": "outline", "name": "RED_CUT", "colour": 1}, {"holds": "slots"}))
    assert [r.holds for r in rules[:2]] == ["outline", "slots"]
    assert (rules[0].name, rules[0].colour, rules[0].work) == ("RED_CUT", 1, "cut")
    assert {r.holds for r in rules} == {r.holds for r in default_layers()}


def test_other_work_alone_moves_the_lines_to_that_layer():
    (rule, *_) = changed(({"holds": "slots", "work": "cut"},))
    assert (rule.name, rule.colour, rule.work) == ("CUT", 1, "cut")


@pytest.mark.parametrize(
    ("row", "wrong"),
    [
        (
            'holds = "outlines"',
            "layers[0].holds: 'outlines': is not known; did you mean 'outline'?",
        ),
        ('name = "X"', "layers[0].holds: is missing; use one of seat"),
        ('holds = "slots"\ncolor = 3', "layers[0].color: '3': is not a key"),
        (
            'holds = "slots"\nwork = "burn"',
            "work: 'burn': is not known; use one of cut, mark, show",
        ),
        ('holds = "slots"\nline = "wavy"', "line: 'wavy': is not known; use one of"),
        ('holds = "slots"\ncolour = 256', "colour: '256': is not between 1 and 255"),
        ('holds = "slots"\ncolour = true', "colour: 'True': is not a whole number"),
        ('holds = "slots"\nwidth = "thick"', "width: 'thick': is not a number"),
        ('holds = "slots"\nwidth = 3', "width: '3': is over 2"),
        ('holds = "slots"\nname = "A\\nB"', "name: 'A\\\\nB': is not a layer's name"),
        ('holds = "slots"\nname = 3', "name: '3': is not a layer's name"),
        ('holds = "slots"\nname = "cut"', "drawing.layers: layer CUT would be both mark and cut"),
        (
            'holds = "slots"\nname = "A"\ncolour = 1',
            "drawing.layers: colour 1 would be both mark and cut",
        ),
        (
            'holds = "slots"\ncolour = 3',
            "drawing.layers: layer MARK would have the colours 3 and 5",
        ),
        ('holds = ["slots"]', "layers[0].holds: is not known"),
        ('holds = "notice"\nwork = "omit"', "the notice is shown in every file"),
        ('holds = "slots"\n[[drawing.layers]]\nholds = "slots"', "holds 'slots' twice"),
    ],
)
def test_a_bad_row_is_told(row, wrong):
    text = f'kind = "laser"\nkerf = "0.2 mm"\n[[drawing.layers]]\n{row}\n'
    with pytest.raises(InputError) as told:
        parse_profile(text, "mine.toml")
    assert wrong in str(told.value)


@pytest.mark.parametrize("stock", ["pvc", "Vinyl", "ABS", "polycarbonate", "brass", "mystery",
                                   "phenolic laminate", "hard plastic", "bone", "shell"])  # fmt: skip
def test_what_no_laser_may_cut_is_refused_with_the_reason(stock):
    """University laser safety rules: halogens, ABS, polycarbonate, unknowns never; the others by
    data/laser.toml. Whatever the part is made of.
    """
    for material in ("bone", "hardwood"):
        with pytest.raises(RefusedError, match=rf"stock: '{stock}': must not be cut by a laser: "):
            laser_cautions("mine.toml", material, stock)


@pytest.mark.parametrize("material", MATERIALS)
@pytest.mark.parametrize("stock", ["card", "Wood", "acrylic", ""])
def test_a_template_may_be_cut_for_any_part(material, stock):
    said = laser_cautions("mine.toml", material, stock)
    warned = [s for s in said if f"never the {material} itself" in s]
    assert len(warned) == (material != "hardwood")
    assert any("extraction" in s for s in said) == (stock == "acrylic")
    of = stock.lower() or "card, wood or acrylic"
    assert all(f"templates of {of} only" in s for s in warned)


def test_only_a_laser_has_stock():
    with pytest.raises(InputError, match=r"stock.*means nothing on a hand"):
        parse_profile('kind = "hand"\nstock = "card"\n', "mine.toml")
    assert (
        parse_profile('kind = "laser"\nkerf = "0.2 mm"\nstock = "wood"', "l.toml").stock == "wood"
    )


@pytest.mark.parametrize("material", MATERIALS)
def test_every_material_of_a_job_has_a_rule(material):
    assert material in table("laser")["materials"]
