"""A job asked for one measurement at a time: each answer by the job file's own rules."""

import contextlib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blankcam.data import table
from blankcam.faults import InputError
from blankcam.inputs import interview, job_file
from blankcam.inputs.interview import Talk, answered, back, question
from blankcam.inputs.job import KINDS
from blankcam.parts.design import design


def talked(told=(), until=None):
    """A talk in which some answers are given and the others left at what is offered."""
    talk, told = Talk(), dict(told)
    one_by_one = any(k.startswith("strings[") for k in (*told, until or ""))
    if one_by_one and "strings" not in told:
        told["gauges"] = interview.EACH
    while (asked := question(talk)) is not None and asked.key != until:
        talk = answered(talk, told.pop(asked.key, ""))
    assert not told, told
    return talk


@pytest.mark.parametrize("kind", KINDS)
def test_all_typical_answers_give_the_kinds_typical_job(kind):
    job = job_file.parse(interview.job_text(talked({"instrument.kind": kind})), "j.toml")
    typical = job_file.parse(f'[instrument]\nname = "my {kind}"\nkind = "{kind}"\n', "t.toml")
    assert job.digest == typical.digest


def test_answers_stand_in_the_job_as_a_job_file_would_hold_them():
    talk = talked({
        "instrument.kind": "steel-string", "instrument.name": 'Lark "3" \\ x', "instrument.scale": "25 1/4 in",
        "board.radius": "12 in, 20 in, 455 mm", "strings": "7", "strings[1]": "B4, 0.009 in, plain steel",
        "saddle.action": "2.4 mm, 2.3 mm, 2.2 mm, 2.1 mm, 2.0 mm, 1.9 mm, 1.8 mm",
        "nut.first_fret": "0.6 mm, 0.4 mm", "nut.tilt": "9 deg", "board.body_fret": "12",
    })  # fmt: skip
    job = job_file.parse(interview.job_text(talk), "j.toml")
    assert job.instrument.name == 'Lark "3" \\ x'
    assert job.instrument.scale == pytest.approx(25.25 * 25.4)
    assert (job.board.radius.nut, job.board.radius.end_at) == pytest.approx((304.8, 455))
    assert [s.note for s in job.strings][-2:] == ["E4", "B4"]
    assert job.saddle.action == pytest.approx((2.4, 2.3, 2.2, 2.1, 2.0, 1.9, 1.8))
    assert (job.nut.first_fret.bass, job.nut.first_fret.treble) == (0.6, 0.4)
    assert job.board.body_fret == 12


def test_what_is_offered_moves_with_what_was_measured():
    talk = talked({"instrument.kind": "steel-string", "instrument.scale": "628 mm",
                   "board.width_at_nut": "47.5 mm", "nut.seat_width": "1/4 in"},
                  until="saddle.action")  # fmt: skip
    said = dict(talk.answers)
    # typical: scale 645, front_at 647.9 and 645.1; board 44, blank 52; seat 6.0, blank 6.0
    assert said["saddle.front_at"] == "630.9 mm, 628.1 mm"
    assert said["blanks.nut.length"] == "55.5 mm"
    assert said["blanks.nut.thickness"] == "6.35 mm"


@pytest.mark.parametrize(
    ("answers", "key", "kept"),
    [
        ({"instrument.scale": "628 mm", "board.width_at_nut": "45"}, "board.width_at_nut", "45 mm"),
        ({"instrument.scale": "25.4 in", "board.width_at_nut": "1.75"}, "board.width_at_nut", "1.75 in"),
        ({"board.width_at_nut": "1 3/4"}, "board.width_at_nut", "1 3/4 in"),
        ({"board.width_at_nut": "45 mm", "nut.seat_width": "15/64"}, "nut.seat_width", "15/64 in"),
        ({"instrument.scale": "645 mm", "strings[6]": "E2, 1.35, wound steel"}, "strings[6]",
         "E2, 1.35 mm, wound steel"),
        ({"strings[6]": "E2, 0.053 in, wound steel", "saddle.action": "6/64, 4/64"},
         "saddle.action", "6/64 in, 4/64 in"),
        ({"instrument.scale": "645 mm", "nut.tilt": "7 deg"}, "nut.tilt", "7 deg"),
    ],
)  # fmt: skip
def test_units_are_remembered_and_a_bare_fraction_is_of_an_inch(answers, key, kept):
    talk = talked({"instrument.kind": "steel-string"} | answers, until="blanks.none")
    assert dict(talk.answers)[key] == kept


def test_the_first_bare_number_is_refused_since_no_unit_is_known():
    talk = talked({"instrument.kind": "steel-string"}, until="instrument.scale")
    with pytest.raises(ValueError, match="no unit"):
        interview.answered(talk, "645")


@pytest.mark.parametrize(
    ("key", "said", "words"),
    [
        ("instrument.kind", "lute", "mandolin"),
        ("instrument.scale", "650", "has no unit"),
        ("instrument.scale", "65,0 cm", "comma"),
        ("instrument.scale", "6 mm", "not believable"),
        ("instrument.handed", "both", "use one of right, left"),
        ("instrument.name", "x" * 201, "200"),
        ("instrument.name", "a\x1b[2Jb", "can't be written"),
        ("instrument.name", "a\udcffb", "can't be written"),
        ("instrument.name", "a\u202eb", "can't be written"),
        ("board.radius", "12 in, 20 in", "comma"),
        ("board.radius", "12 in, 2 in, 455 mm", "not believable"),
        ("strings", "1", "2 to 24"),
        ("strings", "six", "2 to 24"),
        ("strings", "²", "2 to 24"),
        ("strings", "9" * 9000, "2 to 24"),
        ("strings[6]", "E2 0.053 in wound steel", "write note, gauge, make"),
        ("strings[1]", "H2, 1 mm, nylon", "not a note"),
        ("strings[1]", "E2, thick, nylon", "not a length"),
        ("strings[1]", "E2, 1 mm, wire", "plain steel"),
        ("board.body_fret", "14.5", "is not a whole number"),
        ("nut.tilt", "7", "deg"),
        ("saddle.front_at", "600 mm", "does not go with a scale"),
        ("saddle.action", "3 mm, 3 mm, 3 mm", "3 values for 6 strings"),
        ("blanks.material", "steel", "bone"),
        ("plan.machine", "no-such", "no such machine"),
    ],
)
def test_a_wrong_answer_is_told_at_once_in_one_line(key, said, words):
    def machine(name):
        raise InputError(job_file.Fault(where=name, wrong="no such machine"))

    talk = talked(until=key)
    with pytest.raises(ValueError, match=r".") as told:
        answered(talk, said, machine=machine)
    assert words in str(told.value)
    assert "\n" not in str(told.value)
    assert len(str(told.value)) < 400


def test_a_talk_is_kept_and_taken_up_and_goes_back():
    talk = talked({"instrument.name": "é \"x\" # 'y'"}, until="nut.margin_bass")
    assert interview.taken_up(interview.kept(talk), "x.answers") == talk
    offered = answered(talk, question(talk).offered)
    assert offered.unit == "mm"
    assert interview.taken_up(interview.kept(offered), "x.answers") == offered
    before = back(talk)
    assert question(before).key == "nut.margin_to"
    assert back(Talk()) == Talk()


@pytest.mark.parametrize(
    "text",
    ["=", '"instrument.kind" = 3', '"nut.tilt" = "7 deg"', '"instrument.kind" = "lute"', "[" * 9000,
     '"instrument.kind" = "bass"\n"unit" = "ell"', '"instrument.kind" = "bass"\n"unit" = 3',
     '"instrument.kind" = "bass"\n"nut.colour" = "864 mm"', 'instrument.kind = "bass"'],
)  # fmt: skip
def test_a_damaged_file_of_answers_is_one_line(text):
    with pytest.raises(InputError) as told:
        interview.taken_up(text, "x.answers")
    assert "\n" not in str(told.value)
    assert str(told.value).startswith("x.answers")


@pytest.mark.property
@settings(max_examples=6, deadline=None)
@given(st.data())
def test_whatever_is_answered_it_is_taken_or_told(data):
    """Never another failure, and what was taken gives a job file that reads."""
    words = st.sampled_from(
        ["", "", "", "1 mm", "4.5 mm", "2 in, 3 mm", "12", "flat", "C3, 1 mm, nylon, 1", "left"]
    ) | st.text(max_size=8)
    talk = talked({"instrument.kind": data.draw(st.sampled_from(KINDS))},
                  until=data.draw(st.sampled_from(["strings[1]", "nut.margin_to", "saddle.slot_width"])))  # fmt: skip
    for _ in range(6):
        with contextlib.suppress(ValueError):
            talk = answered(talk, data.draw(words))
    try:
        while question(talk) is not None:
            talk = answered(talk, "")
    except ValueError:
        return  # what is offered no longer goes with what was answered: told, and the maker's turn
    job_file.parse(interview.job_text(talk), "j.toml")
    assert interview.taken_up(interview.kept(talk), "x") == talk


def test_a_set_is_answered_by_its_gauges_as_they_stand_on_the_packet():
    asked = question(talked({"instrument.kind": "steel-string"}, until="gauges"))
    assert asked.offered == "12-16-24w-32w-42w-53w"
    assert "medium 13-17-26w-35w-45w-56w" in asked.words
    talk = talked({"instrument.kind": "steel-string", "gauges": "13 17 26w 35w 45w 56w"})
    assert not any(k.startswith("strings[") for k, _ in talk.answers)
    named = talked({"instrument.kind": "steel-string", "gauges": "Medium"})
    assert interview.job_text(named) == interview.job_text(talk)
    job = job_file.parse(interview.job_text(talk), "j.toml")
    assert [s.gauge for s in job.strings] == pytest.approx(
        [25.4 * g / 1000 for g in (56, 45, 35, 26, 17, 13)]
    )
    assert [s.make for s in job.strings] == ["wound steel"] * 4 + ["plain steel"] * 2
    assert [s.number for s in job.strings] == [6, 5, 4, 3, 2, 1]


@pytest.mark.parametrize("kind", KINDS)
def test_every_set_offered_is_one_that_can_be_taken(kind):
    for gauges in table("sets")[kind].values():
        talk = talked({"instrument.kind": kind, "gauges": gauges})
        design(job_file.parse(interview.job_text(talk), "j.toml"))


def test_one_gauge_a_pair_does_for_courses_and_millimetres_and_inches_are_told_apart():
    talk = talked({"instrument.kind": "mandolin", "gauges": "10-14-24w-38w"})
    job = job_file.parse(interview.job_text(talk), "j.toml")
    assert [round(s.gauge / 0.0254, 2) for s in job.strings] == [38, 38, 24, 24, 14, 14, 10, 10]
    talk = talked(
        {"instrument.kind": "classical", "gauges": "0.029, .032, 1.02, 0.74w, .035w, 43w"}
    )
    job = job_file.parse(interview.job_text(talk), "j.toml")
    assert [s.gauge for s in job.strings] == pytest.approx(
        [43 * 0.0254, 35 * 0.0254, 0.74, 1.02, 32 * 0.0254, 29 * 0.0254]
    )


@pytest.mark.parametrize(
    "said", ["12-16-24w", "lightish", "12-16-24w-32w-42w-53w-60w", "x" * 5000, "-"]
)
def test_what_is_no_set_is_told(said):
    talk = talked({"instrument.kind": "steel-string"}, until="gauges")
    with pytest.raises(ValueError, match="is not a set of strings; write 12-16"):
        answered(talk, said)


def test_every_earlier_answer_can_be_given_anew_and_what_follows_it_moves():
    talk = talked({"instrument.kind": "steel-string", "board.width_at_nut": "45 mm",
                   "blanks.nut.height": "11 mm"})  # fmt: skip
    assert interview.question_again(talk, "board.width_at_nut").offered == "45 mm"
    wider = interview.changed(talk, "board.width_at_nut", "47.5 mm")
    said = dict(wider.answers)
    assert said["board.width_at_nut"] == "47.5 mm"
    assert said["blanks.nut.length"] == "55.5 mm"  # offered: 52 mm for a board of 44 mm
    assert said["blanks.nut.height"] == "11 mm"  # typed
    assert question(wider) is None
    with pytest.raises(ValueError, match="not a length"):
        interview.changed(talk, "board.width_at_nut", "wide")


def test_what_no_longer_goes_with_a_new_answer_is_asked_again():
    talk = talked({"instrument.kind": "steel-string", "saddle.action": "2.4 mm, 2.3 mm, 2.2 mm, 2.1 mm, 2.0 mm, 1.9 mm"})  # fmt: skip
    seven = interview.changed(talk, "strings", "7")
    assert question(seven).key == "strings[7]"
    left = set(dict(talk.answers)) - set(dict(seven.answers))
    assert {"gauges", "saddle.action"} <= left
    assert interview.taken_up(interview.kept(seven), "x") == seven
