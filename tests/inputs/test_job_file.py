"""The job file's border: faults all at once, each with its place; nothing absurd gets in."""

import json
import math
import re
import tomllib

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blankcam.data import table
from blankcam.faults import InputError
from blankcam.inputs import editor_schema, job_file, starter
from blankcam.inputs.job import KINDS, Graded

SMALL = '[instrument]\nname = "x"\nkind = "classical"\n'


def faults(text):
    with pytest.raises(InputError) as caught:
        job_file.parse(text, "job.toml")
    return [str(f) for f in caught.value.faults]


def test_all_faults_are_told_at_once_with_key_and_line():
    text = """[instrument]
name = "x"
kind = "bass"
scael = "600 mm"

[nut]
seat_width = 5
tilt = nan

[[strings]]
note = "E2"
gauge = "0.01 kg"
make = "wire"

[blanks]
nut = { length = "40 mm", heigth = "9 mm" }
"""
    told = faults(text)
    expected = [
        ("job.toml:4: instrument.scael", "did you mean 'scale'"),
        ("job.toml:7: nut.seat_width", "bare number"),
        ("job.toml:8: nut.tilt", "angle"),
        ("job.toml:12: strings[0].gauge", "'kg' is not known"),
        ("job.toml:13: strings[0].make", "plain steel"),
        ("job.toml:16: blanks.nut.heigth", "did you mean 'height'"),
    ]
    for place, words in expected:
        assert any(t.startswith(place) and words in t for t in told), (place, told)
    assert all("\n" not in t for t in told)


@pytest.mark.parametrize(
    "line",
    [
        'scale = "-650 mm"',
        'scale = "650"',
        "scale = 650",
        "scale = true",
        "scale = nan",
        "scale = inf",
        "scale = -inf",
        'scale = "65 m"',
        'scale = "6 mm"',
        "scale = []",
        "scale = {}",
        "scale = 1979-05-27",
    ],
)
def test_absurd_scales_are_refused(line):
    told = faults(SMALL + line + "\n")
    assert len(told) == 1
    assert told[0].startswith("job.toml:4: instrument.scale")


@pytest.mark.parametrize(
    ("table_text", "key"),
    [
        ('[saddle]\ncompensation = { 1 = "1 mm" }', "saddle.compensation"),
        ('[saddle]\ncompensation = "maybe"', "saddle.compensation"),
        ('[saddle]\naction = { bass = "3 mm" }', "saddle.action"),
        ('[saddle]\naction = { 3 = "3 mm", 2 = 4, 1 = "3 mm" }', "saddle.action"),
        ('[saddle]\ntie_run = "11 mm"', "saddle.tie_height"),
        ('[saddle]\nfront_at = "600 mm"', "saddle.front_at"),
        ('[nut]\nfirst_fret = "0.5 mm"\nlift = "0.3 mm"', "nut.lift"),
        ("[nut]\nexposure = true", "nut.exposure"),
        ("[nut]\nexposure = nan", "nut.exposure"),
        (
            '[board]\nradius = { nut = "400 mm", end = "120 mm", end_at = "452 mm" }',
            "board.radius",
        ),
        ('[board]\nradius = "round"', "board.radius"),
        ('[board]\nradius = { nut = "10 in", end = "16 in" }', "board.radius"),
        ("[board]\nbody_fret = 14.0", "board.body_fret"),
        ("[board]\nbody_fret = true", "board.body_fret"),
        ('[holding]\nkind = "glue"', "holding.kind"),
        ('[[strings]]\nnote = "H2"\ngauge = "1 mm"\nmake = "nylon"', "strings"),
        ("[strings]\na = 1", "strings"),
        ("nut = 3", "nut"),
    ],
)
def test_each_wrong_value_is_named_by_its_key(table_text, key):
    if table_text.startswith("nut ="):
        told = faults(table_text + "\n" + SMALL)
    else:
        told = faults(SMALL + table_text + "\n")
    assert any(f" {key}" in t.split("; ")[0] for t in told), told


@pytest.mark.parametrize(
    ("table_text", "key", "now"),
    [
        ('[board]\ncrown = "1 mm"', "board.crown", "fret_height"),
        ('[saddle]\nsetbacks = "none"', "saddle.setbacks", "compensation"),
        ('[nut]\nsetbacks = "none"', "nut.setbacks", "compensation"),
        ('[uncertainty]\ncrown = "0.1 mm"', "uncertainty.crown", "fret_height"),
    ],
)
def test_a_former_key_is_unknown_and_the_hint_has_its_name_of_today(table_text, key, now):
    told = faults(SMALL + table_text + "\n")
    assert len(told) == 1
    assert f" {key}: " in told[0]
    assert told[0].endswith(f"is not a key of a job file; did you mean '{now}'?")


def test_an_unknown_kind_and_a_missing_name():
    told = faults('[instrument]\nkind = "lute"\n')
    assert any("instrument.kind" in t and "classical" in t for t in told)
    assert any("instrument.name" in t and "missing" in t for t in told)


SET = {3: ("E3", "0.040 in"), 2: ("A3", "0.034 in"), 1: ("D4", "0.029 in")}


def strings_of(order):
    return "".join(
        f'[[strings]]\nnumber = {n}\nnote = "{SET[min(n, 3)][0]}"\n'
        f'gauge = "{SET[min(n, 3)][1]}"\nmake = "nylon"\n'
        for n in order
    )


def test_strings_stand_in_any_order_and_come_from_the_bass():
    up, down = (job_file.parse(SMALL + strings_of(o), "j") for o in ((1, 2, 3), (3, 2, 1)))
    assert [(s.number, s.note) for s in up.strings] == [(3, "E3"), (2, "A3"), (1, "D4")]
    assert up.digest == down.digest


@pytest.mark.parametrize(
    ("order", "wrong"),
    [
        ((3, 2, 2), "strings[2].number: '2': is another string's number; number them 1 to 3"),
        ((5, 2, 1), "strings[5].number: '5': leaves a gap below; number them 1 to 3"),
    ],
)
def test_string_numbers_run_from_1_without_a_gap(order, wrong):
    (told,) = faults(SMALL + strings_of(order))
    assert wrong in told


def test_a_string_without_a_number_is_told_what_numbers_mean():
    text = SMALL + strings_of((2, 1)).replace("number = 2\n", "")
    (told,) = faults(text)
    assert told.startswith("job.toml:4: strings[0].number: is missing; write a number from 1 to 24")


def test_values_by_string_number_reach_the_strings_of_those_numbers():
    text = SMALL + '[saddle]\naction = { 1 = "2.1 mm", 3 = "2.3 mm", 2 = "2.2 mm" }\n'
    made = job_file.parse(text + strings_of((1, 3, 2)), "j")
    by_number = dict(zip((s.number for s in made.strings), made.saddle.action, strict=True))
    assert by_number == pytest.approx({1: 2.1, 2: 2.2, 3: 2.3})


@pytest.mark.parametrize(
    ("value", "wrong"),
    [
        (
            '["2.3 mm", "2.2 mm", "2.1 mm"]',
            'from the bass side it would be { 3 = "2.3 mm", 2 = "2.2 mm", 1 = "2.1 mm" }',
        ),
        ('["2.3 mm", "2.1 mm"]', 'would be { bass = "2.3 mm", treble = "2.1 mm" }'),
        ('{ 3 = "2.3 mm", 1 = "2.1 mm" }', "leaves out string 2"),
        ('{ 2 = "2.3 mm", 1 = "2.1 mm" }', "has 2 values for 3 strings: string 3 is left out"),
        ('{ 4 = "2 mm", 3 = "2 mm", 2 = "2 mm", 1 = "2 mm" }', "has 4 values for 3 strings"),
        ('{ bass = "2.3 mm" }', "has no treble; write { bass = .., treble = .. }"),
        ('{ 0 = "2.3 mm", 1 = "2.1 mm" }', "is neither by side nor by string number"),
        ('{ 3 = "2.3 mm", 2 = "0 mm", 1 = "2 mm" }', "2 '0 mm': is 0 mm, not believable here"),
    ],
)
def test_values_that_fit_no_string_are_refused(value, wrong):
    (told,) = faults(SMALL + f"[saddle]\naction = {value}\n" + strings_of((3, 2, 1)))
    assert " saddle.action: " in told
    assert wrong in told


def test_courses_must_count_up():
    strings = "".join(
        f'[[strings]]\nnote = "G3"\ngauge = "0.04 in"\nmake = "wound steel"\ncourse = {c}\n'
        f"number = {n}\n"
        for n, c in ((1, 1), (2, 1), (3, 3))
    )
    told = faults(SMALL + strings)
    assert any("strings[3].course" in t and "out of order" in t for t in told)


@pytest.mark.parametrize("text", ["= 3", "[a", "a = 1\na = 2", '"\x00"', "[" * 5000, "a = 1e999\n"])
def test_what_is_no_toml_is_one_line(text):
    told = faults(text)
    assert all("\n" not in t for t in told)


@pytest.mark.parametrize(
    ("line", "fix"),
    [
        ("exposure = 0,5", "a point in a number, not a comma"),
        ("action = { bass = 2,3 }", "a point in a number, not a comma"),
        ("exposure = 50%", "0.5 for half"),
        ("seat_width = 6.05 mm", "put a length in quotes"),
        ("seat_width = 15/64 in # measured", "put a length in quotes"),
        ("seat_width = “6.05 mm”", "straight quotes"),
        ('radius = "14""', "an inch sign ends the text"),
        ("kind = classical", "put words in quotes"),
        ('tilt: "7 deg"', "write = between"),
        ('action = { 3 = "2.3 mm",', "on one line"),
        ("exposure = .5", "begin a number with a digit"),
        ('seat_width = "6.05 mm', "close the text with the quote"),
        ('tilt = "7 deg"\ntilt = "8 deg"', "keep one of the two"),
        ("[nut", "close what is in square brackets"),
    ],
)
def test_a_line_that_is_no_toml_is_shown_with_what_would_do(line, fix):
    (told,) = faults(SMALL + f"{line}\n")
    shown = line.splitlines()[-1]
    at = (SMALL + line).count("\n") + 1
    assert told.startswith(f"job.toml:{at}: {shown!r}: is not TOML")
    assert fix in told


def test_a_file_that_is_not_there_or_not_text(tmp_path):
    for path in (tmp_path / "no.toml", tmp_path):
        with pytest.raises(InputError):
            job_file.load(str(path))
    bad = tmp_path / "bad.toml"
    bad.write_bytes(b'name = "\xff"')
    with pytest.raises(InputError, match="UTF-8"):
        job_file.load(str(bad))
    with pytest.raises(InputError):
        job_file.load("a\x00b")


def test_what_is_left_out_is_assumed_and_listed():
    job = job_file.parse(SMALL, "j")
    assert "nut.seat_width" in job.assumed
    assert "strings" in job.assumed
    assert "instrument.kind" not in job.assumed
    given_ = job_file.parse(SMALL + '[nut]\nseat_width = "5.1 mm"\n', "j")
    assert "nut.seat_width" not in given_.assumed
    lifted = job_file.parse(SMALL + '[nut]\nlift = "0.3 mm"\n', "j")
    assert lifted.nut.first_fret is None
    assert lifted.nut.lift == Graded(bass=0.3, treble=0.3)


def test_nothing_is_assumed_of_a_part_that_is_not_made():
    nut = '[blanks]\nnut = { length = "52 mm", height = "10 mm", thickness = "6 mm" }\n'
    assumed = set(job_file.parse(SMALL + nut, "j").assumed)
    assert {"plan.top", "plan.slots"} <= assumed
    assert not assumed & {"plan.crown", "plan.ends", "nut.pencil"}
    line = '[nut]\nmarked_line = "6.1 mm"\n'
    assert "nut.pencil" in job_file.parse(SMALL + line, "j").assumed


def test_the_digest_knows_values_not_layout():
    a = job_file.parse(SMALL + '[nut]\nseat_width = "6.35 mm"\n', "a.toml")
    b = job_file.parse("# words\n" + SMALL + '[nut]\nseat_width =   "1/4 in"\n', "b.toml")
    c = job_file.parse(SMALL + '[nut]\nseat_width = "6.36 mm"\n', "a.toml")
    assert a.digest == b.digest != c.digest


@pytest.mark.parametrize("kind", KINDS)
def test_a_started_job_is_a_whole_job(kind):
    text = starter.text(kind)
    job = job_file.parse(text, "started.toml")
    assert job.instrument.kind == kind
    assert set(job.assumed) == set(job_file.MEASURED)
    measured = re.sub(r"^# (\w+ = )", r"\1", text, flags=re.MULTILINE)
    assert job_file.parse(measured, "measured.toml").assumed == ()
    jsonschema.validate(
        tomllib.loads(measured), json.loads(editor_schema.schemas()["job.schema.json"])
    )
    jsonschema.validate(tomllib.loads(text), json.loads(editor_schema.schemas()["job.schema.json"]))


def test_every_key_of_a_started_job_is_explained():
    for name, keys in table("keys").items():
        assert all(len(str(v)) > 10 for v in keys.values()), name


def test_no_such_kind_to_start_from():
    with pytest.raises(InputError, match="classical"):
        starter.text("lute")


def test_compound_and_flat_boards():
    flat = job_file.parse(SMALL, "j").board.radius
    assert math.isinf(flat.nut)
    text = SMALL + '[board]\nradius = { nut = "10 in", end = "16 in", end_at = "452 mm" }\n'
    cone = job_file.parse(text, "j").board.radius
    assert (cone.nut, cone.end, cone.end_at) == pytest.approx((254.0, 406.4, 452.0))


@pytest.mark.property
@settings(max_examples=60, deadline=None)
@given(
    st.recursive(
        st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=12),
        lambda inner: (
            st.lists(inner, max_size=3)
            | st.dictionaries(
                st.sampled_from(
                    ["instrument", "nut", "strings", "saddle", "scale", "bass", "kind"]
                ),
                inner,
                max_size=4,
            )
        ),
        max_leaves=12,
    )
)
def test_any_tables_give_a_job_or_faults(tables):
    tables = tables if isinstance(tables, dict) else {"nut": tables}
    filled, assumed = job_file.fill(tables)
    with pytest.raises(InputError):
        job_file.from_tables(filled, assumed, "j", {})
