"""Readings as makers write them, and hostile ones: every fault at once, never a traceback."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from blankcam.faults import InputError
from blankcam.inputs.readings_file import OnInstrument, cautions, load, parse

GOOD = """
[readings]
first_fret = { 3 = "0.62 mm", 2 = "0.024 in", 1 = "0.55 mm" }
action = { bass = "2.6 mm", treble = "5/64 in" }
relief = "0.12 mm"
settled = "36 h"
uncertainty = "0.05 mm"
"""


LEAST = """[readings]
first_fret = { bass = "0.5 mm", treble = "0.4 mm" }
action = { 6 = "2 mm" }
"""


def test_a_whole_file():
    found = parse(GOOD, "r.toml", 3)
    assert found.first_fret == pytest.approx({3: 0.62, 2: 0.6096, 1: 0.55})
    assert found.action == pytest.approx({3: 2.6, 1: 1.984375})  # the outer two strings'
    assert found.nut == found.saddle == OnInstrument()
    assert not found.twice
    assert (found.relief, found.settled, found.uncertainty) == (0.12, 36, 0.05)
    assert found.stage == "rough"
    assert cautions(found) == []


def test_what_is_left_out_is_assumed_and_said():
    found = parse(f'{LEAST}settled = "0.5 days"', "r", 6)
    assert found.first_fret == {6: 0.5, 1: 0.4}
    assert found.uncertainty_assumed
    assert len(cautions(found)) == 2
    assert "12 h" in cautions(found)[0]
    bare = parse(LEAST, "r", 6)
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


def test_a_bare_list_is_refused_with_the_table_it_would_be():
    text = '[readings]\nfirst_fret = ["0.6 mm", "0.5 mm"]\naction = { 1 = "2 mm" }'
    with pytest.raises(InputError, match="which end it begins at") as refused:
        parse(text, "r.toml", 2)
    assert 'write { 2 = "0.6 mm", 1 = "0.5 mm" }' in str(refused.value)


def test_strings_that_the_job_has_not_are_told():
    with pytest.raises(InputError, match=r"readings\.first_fret: has string 3, and the job has 2"):
        parse(GOOD, "r.toml", 2)


def test_what_is_on_the_instrument():
    said = 'nut = "new"\nsaddle = "shimmed 1/64 in"\nfilled = [6, 1]\nmeasured = "twice"'
    found = parse(LEAST + said, "r", 6)
    assert found.nut == OnInstrument(new=True)
    assert found.saddle == OnInstrument(shim=pytest.approx(0.396875))
    assert found.filled == (6, 1)
    assert found.twice
    assert found.digest == parse(LEAST + said.replace("twice", "once"), "r", 6).digest
    assert found.digest != parse(LEAST, "r", 6).digest


def test_targets_are_for_every_string():
    found = parse(LEAST + 'want_action = { bass = "2.4 mm", treble = "1.9 mm" }', "r", 6)
    assert found.want_action == pytest.approx({6: 2.4, 5: 2.3, 4: 2.2, 3: 2.1, 2: 2.0, 1: 1.9})
    with pytest.raises(InputError, match=r"want_action: leaves strings out"):
        parse(LEAST + 'want_action = { 6 = "2.4 mm" }', "r", 6)


def test_a_reading_of_nothing_is_no_reading():
    with pytest.raises(InputError, match="not believable"):
        parse(LEAST.replace("0.5 mm", "0 mm"), "r", 6)
    held = LEAST.replace("first_fret", "third_fret")
    with pytest.raises(InputError, match="has string 1, and action has not"):
        parse(held, "r", 6)
    held = held.replace('6 = "2 mm"', '6 = "2 mm", 1 = "1.8 mm"')
    assert parse(held, "r", 6).third_fret == {6: 0.5, 1: 0.4}
    with pytest.raises(InputError, match=r"readings\.first_fret: is missing"):
        parse('[readings]\naction = { 6 = "2 mm" }', "r", 6)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "readings = 1",
        "readings = []",
        "[readings]",
        "[readings",
        "[[readings]]",
        '[readings]\nfirst_fret = { 1 = "nan mm" }\naction = { 1 = "inf mm" }',
        '[readings]\nfirst_fret = {bass = "1 mm"}\naction = []',
        LEAST + 'stage = "polished"',
        LEAST + 'settled = "' + "9" * 39 + ' h"',
        LEAST + "filled = [true]",
        LEAST + 'nut = "shimmed 9 m"',
        '[readings]\naction = {"٣" = "2 mm"}',
        "[readings]\naction = {" + "9" * 300 + ' = "2 mm"}',
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
    for key in (
        "first_fret",
        "action",
        "relief",
        "settled",
        "uncertainty",
        "stage",
        "nut",
        "filled",
    ):
        whole = {"first_fret": '{ 1 = "0.5 mm" }', "action": f'{{ "{quoted}" = "2 mm" }}'} | {
            key: f'"{quoted}"'
        }
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


@pytest.mark.parametrize(
    ("reading", "said"),
    [("0 mm", "expected at least 0.001 mm"), ("13 mm", "expected at most 12 mm")],
)
def test_a_range_that_begins_next_to_nothing_names_the_end_that_was_missed(reading, said):
    with pytest.raises(InputError, match=rf"not believable here; {said}"):
        parse(LEAST.replace("2 mm", reading), "r", 6)
