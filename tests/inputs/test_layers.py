"""Layers as a profile may set them, and what may go under a laser."""

from __future__ import annotations

import pytest

from blankcam.data import table
from blankcam.faults import RefusedError
from blankcam.inputs.job import MATERIALS
from blankcam.inputs.layers import changed, default_layers
from blankcam.safety import laser_cautions


def test_a_profiles_rows_come_first_and_keep_the_rest():
    rules = changed(({"holds": "outline", "name": "RED_CUT", "colour": 1}, {"holds": "slots"}))
    assert [r.holds for r in rules[:2]] == ["outline", "slots"]
    assert (rules[0].name, rules[0].colour, rules[0].work) == ("RED_CUT", 1, "cut")
    assert {r.holds for r in rules} == {r.holds for r in default_layers()}


@pytest.mark.parametrize(
    ("row", "wrong"),
    [
        ({"holds": "outlines"}, "not known"),
        ({"name": "X"}, "not known"),
        ({"holds": "slots", "color": 3}, "no field"),
        ({"holds": "slots", "work": "burn"}, "use one of cut, mark, show, omit"),
        ({"holds": "slots", "line": "wavy"}, "use one of"),
        ({"holds": "slots", "colour": 256}, "1 to 255"),
        ({"holds": "slots", "colour": True}, "1 to 255"),
        ({"holds": "slots", "width": "thick"}, "0.05 to 2"),
        ({"holds": "slots", "name": "A\nB"}, "letters"),
        ({"holds": "slots", "name": 3}, "letters"),
        ({"holds": "slots", "name": "outline"}, "two layers"),
        ({"holds": ["slots"]}, "not known"),
        ({"holds": "notice", "work": "omit"}, "shown in every file"),
    ],
)
def test_a_bad_row_is_told(row, wrong):
    with pytest.raises(ValueError, match=wrong):
        changed((row,))


@pytest.mark.parametrize("material", ["pvc", "Vinyl", "ABS", "polycarbonate", "brass", "mystery",
                                      "phenolic laminate", "hard plastic"])  # fmt: skip
def test_what_no_laser_may_cut_is_refused_with_the_reason(material):
    """University laser safety rules: halogens, ABS, polycarbonate, unknowns never; the others by
    data/laser.toml.
    """
    with pytest.raises(RefusedError, match="must not be cut by a laser: "):
        laser_cautions("job.toml", material)


def test_bone_and_shell_are_templates_only():
    (said,) = laser_cautions("job.toml", "bone")
    assert "templates of card, wood or acrylic only" in said
    with pytest.raises(RefusedError, match="chars and cracks"):
        laser_cautions("job.toml", "bone", stock="bone")
    assert laser_cautions("job.toml", "brass", stock="card") == ()


@pytest.mark.parametrize("material", MATERIALS)
def test_every_material_of_a_job_has_a_rule(material):
    assert material in table("laser")["materials"]
