"""Readings as makers write them, and hostile ones: every fault at once, never a traceback."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from blankcam.faults import InputError
from blankcam.inputs.job import Graded
from blankcam.inputs.readings_file import cautions, load, parse

GOOD = """
[readings]
first_fret = { 3 = "0.62 mm", 2 = "0.024 in", 1 = "0.55 mm" }
action = { bass = "2.6 mm", treble = "5/64 in" }
relief = "0.12 mm"
settled = "36 h"
uncertainty = "0.05 mm"
"""


def test_a_whole_file():
    found = parse(GOOD, "r.toml", 3)
    assert found.first_fret == pytest.approx((0.62, 0.6096, 0.55))
    assert found.action == Graded(bass=2.6, treble=pytest.approx(1.984375))
    assert (found.relief, found.settled, found.uncertainty) == (0.12, 36, 0.05)
    assert found.stage == "rough"
    assert cautions(found) == []


def test_what_is_left_out_is_assumed_and_said():
    found = parse(
        '[readings]\nfirst_fret = "0.5 mm"\naction = "2 mm"\nsettled = "0.5 days"', "r", 6
    )
    assert found.first_fret == Graded(bass=0.5, treble=0.5)
    assert found.uncertainty_assumed
    assert len(cautions(found)) == 2
    assert "12 h" in cautions(found)[0]
    bare = parse('[readings]\nfirst_fret = "0.5 mm"\naction = "2 mm"', "r", 6)
    assert "not given" in cautions(bare)[0]


def test_every_fault_at_once_with_its_line():
    text = """[readings]
first_fret = { 2 = 0.6, 1 = "0.5 mm" }
action = { 2 = "2 mm", 1 = "90 mm" }
settled = "long"
uncertainty = "0 mm"
mood = "good"
"""
    with pytest.raises(InputError) as caught:
        parse(text, "r.toml", 2)
    lines = {f.line for f in caught.value.faults}
    assert lines == {2, 3, 4, 5, 6}
    assert all(str(f).startswith("r.toml:") for f in caught.value.faults)
    assert "no unit" in str(caught.value) or "bare number" in str(caught.value)


def test_the_number_of_strings_is_checked():
    with pytest.raises(InputError, match=r"readings\.first_fret: has 3 values for 6 strings"):
        parse(GOOD, "r.toml", 6)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "readings = 1",
        "readings = []",
        "[readings]",
        "[readings",
        "[[readings]]",
        '[readings]\nfirst_fret = "nan mm"\naction = "inf mm"',
        '[readings]\nfirst_fret = {bass = "1 mm"}\naction = []',
        '[readings]\nfirst_fret = "1 mm"\naction = "1 mm"\nstage = "polished"',
        '[readings]\nfirst_fret = "1 mm"\naction = "1 mm"\nsettled = "' + "9" * 39 + ' h"',
        "x = " + "[" * 5000,
        '[readings]\n"\\u001b[2J" = "1 mm"',
    ],
)
def test_hostile_text_is_told_in_printable_lines(text):
    with pytest.raises(InputError) as caught:
        parse(text, "r.toml", 6)
    for fault in caught.value.faults:
        assert str(fault).isprintable()


@pytest.mark.property
@given(st.text(max_size=60))
def test_any_text_in_any_key_is_a_fault_or_a_reading(text):
    quoted = "".join(f"\\U{ord(c):08x}" for c in text if not 0xD800 <= ord(c) < 0xE000)
    for key in ("first_fret", "action", "relief", "settled", "uncertainty", "stage"):
        whole = {"first_fret": '"0.5 mm"', "action": '"2 mm"'} | {key: f'"{quoted}"'}
        body = "\n".join(f"{k} = {v}" for k, v in whole.items())
        faults = ()
        try:
            parse(f"[readings]\n{body}", "r", 6)
        except InputError as refused:
            faults = refused.faults
        assert all(str(f).isprintable() for f in faults)


def test_a_missing_file(tmp_path):
    with pytest.raises(InputError, match="no such file"):
        load(str(tmp_path / "none.toml"), 6)


def test_a_file(tmp_path):
    path = tmp_path / "r.toml"
    path.write_text(GOOD, encoding="utf-8")
    assert load(str(path), 3).settled == 36
