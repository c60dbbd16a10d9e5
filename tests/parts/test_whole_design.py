"""What no maker would build, however well each number looks alone."""

import itertools

import pytest

from blankcam.faults import RefusedError
from blankcam.inputs import job_file
from blankcam.inputs.job import KINDS
from blankcam.parts.design import design


def of(kind, text=""):
    return design(job_file.parse(f'[instrument]\nname = "x"\nkind = "{kind}"\n{text}', "j"))


def refused(kind, text):
    with pytest.raises(RefusedError) as caught:
        of(kind, text)
    return {f.key: str(f) for f in caught.value.faults}


@pytest.mark.parametrize("kind", KINDS)
def test_a_kinds_typical_job_causes_no_caution_and_reaches_its_compensation(kind):
    """Only that its values are not measured is told."""
    found = of(kind)
    assert [c for c in found.cautions if "not measured but assumed" not in c] == []
    assert max(abs(s.cents) for s in found.saddle.strings) < 0.5


def test_strings_beside_the_saddle_are_refused_with_both_numbers():
    # slot 74 less 0.3 at the ends: 73.7; 130 mm between the outer strings: 28.15 beyond each end
    told = refused("steel-string", '[saddle]\nstring_span = "130 mm"\nfront_at = "646.5 mm"')
    assert "28.15 mm beyond its" in told["saddle.string_span"]
    assert "needs 1.50 mm" in told["saddle.string_span"]


def test_a_string_stands_at_least_its_gauge_inside_the_ends():
    """max(1.5 mm, gauge): common practice, no source. The bass's E is 0.105 in = 2.667 mm."""
    blank = '[blanks]\nsaddle = { length = "75 mm", height = "12 mm", thickness = "3.2 mm" }'
    base = (
        '[saddle]\nfront_at = { bass = "868.5 mm", treble = "864.5 mm" }\nslot_length = "%s mm"\n'
    )
    assert of("bass", base % 63.2 + blank)
    assert "needs 2.67 mm" in refused("bass", base % 62.0 + blank)["saddle.string_span"]


def test_a_string_near_the_nuts_end_is_refused():
    told = refused("steel-string", '[nut]\nmargin_bass = "1.4 mm"')
    assert "cross the nut 1.40 mm inside its left end" in told["nut.margin_bass"]


def test_a_string_that_cannot_hold_is_refused():
    told = refused("steel-string", STEEL)
    assert "MPa" in told["strings[1]"]  # by its number: the treble string
    assert "breaks before 3300 MPa" in told["strings[1]"]


# music wire at a fifth over its note: 4 density L^2 f^2 = 4*7850*0.645^2*493.88^2 = 3186 MPa; at D5
# 4010
STEEL = """
[[strings]]
number = 2
note = "E2"
gauge = "0.053 in"
make = "wound steel"
[[strings]]
number = 1
note = "D5"
gauge = "0.012 in"
make = "plain steel"
"""


@pytest.mark.parametrize(
    ("asked", "key"),
    [('lift = "-0.1 mm"', "nut.lift"), ('first_fret = "0.06 mm"', "nut.first_fret")],
)
def test_a_string_that_would_rest_on_fret_1_is_refused_where_it_is_asked_for(asked, key):
    told = refused("steel-string", f"[nut]\n{asked}")
    assert "the open string would rest on fret 1" in told[key]


def test_a_string_that_leaves_the_saddle_upward_is_refused():
    told = refused("steel-string", '[saddle]\ntie_height = "8 mm"\ntie_run = "20 mm"')
    assert "would not press on it" in told["saddle.tie_height"]


def test_a_saddle_out_of_its_seat_is_cautioned_then_refused():
    # exposed: action and the rest put the top some 4.2 mm over the bridge at fret_line 0.5
    found = of("steel-string", '[saddle]\nslot_depth = "3 mm"')
    assert any("lean it toward the nut" in c for c in found.cautions)
    told = refused("steel-string", '[saddle]\nslot_depth = "1.2 mm"')
    assert "more than 3 times as far" in told["saddle.slot_depth"]


def test_a_string_under_the_bridges_top_is_refused():
    told = refused("steel-string", '[saddle]\nfret_line = "-5 mm"\nslot_depth = "9 mm"')
    assert "under the top of the bridge" in told["saddle.fret_line"]


def test_slots_deeper_than_the_nut_is_thick_are_refused():
    text = (
        '[nut]\nexposure = -1\nseat_width = "3 mm"\nseat_drop = "8 mm"\n[blanks]\n'
        'nut = { length = "50 mm", height = "16 mm", thickness = "3 mm" }'
    )
    assert "its walls would break away" in refused("bass", text)["nut.exposure"]


def test_the_saddles_strings_space_as_the_nuts():
    text = '[saddle]\nfront_at = "646.5 mm"\n%s\n[nut]\nspacing = "equal centres"'
    centres = [s.centre for s in of("steel-string", text % "").saddle.strings]
    steps = [b - a for a, b in itertools.pairwise(centres)]
    assert steps == pytest.approx([54 / 5] * 5)
    own = [s.centre for s in of("steel-string", text % 'spacing = "equal gaps"').saddle.strings]
    assert own[1] - centres[1] > 0.1  # the thick strings stand further apart


def test_a_wide_saddle_is_given_a_crown_that_fits_it():
    wide = '[saddle]\nslot_width = "6 mm"\n[blanks]\nsaddle = { length = "80 mm", height = "13 mm", thickness = "6 mm" }'
    found = of("steel-string", wide)
    saddle = found.saddle
    reach = max(max(s.ridge, saddle.thickness - s.ridge) for s in saddle.strings)
    assert reach < 0.97 * saddle.crown_radius < 1.4 * reach
    assert of("steel-string").saddle.crown_radius == 3.0


@pytest.mark.parametrize("radius", ["20 ft", "100 mm", "6096 mm", "100 m", "flat"])
def test_any_radius_from_100_mm_up_is_a_board(radius):
    """20 ft (6,096 mm) for nearly flat boards: common practice, no source."""
    found = of("ukulele", f'[board]\nradius = "{radius}"')
    top = found.nut.top
    edge = top.height(found.nut.length / 2) - top.height(0.0)
    flat = of("ukulele", '[board]\nradius = "flat"').nut.top
    straight = flat.height(found.nut.length / 2) - flat.height(0.0)
    if radius in ("20 ft", "6096 mm"):
        # sagitta 18^2 / (2 * 6097) = 0.0266 mm, by hand
        assert edge - straight == pytest.approx(0.0266, abs=0.003)
    if radius == "100 m":
        assert edge - straight == pytest.approx(0.0016, abs=0.0005)


def test_a_part_a_little_loose_is_cautioned_and_a_loose_one_refused():
    text = '[blanks]\nsaddle = { length = "80 mm", height = "12 mm", thickness = "%s mm" }'
    found = of("steel-string", text % 2.9)
    assert any(
        "thinner than a hand fit wants: it will have 0.100 mm of play" in c for c in found.cautions
    )
    # trade practice: a .085 in blank in a .093 in slot, 0.2 mm of play, is too loose
    assert "too small" in refused("steel-string", text % 2.8)["blanks.saddle.thickness"]
