"""A refit from files to files: proven programs, rounds, mistakes that must do no harm."""

import json
import re
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from blankcam.faults import InputError, RefusedError
from blankcam.inputs import job_file
from blankcam.parts.design import design
from blankcam.workflows.refit import folder
from tests.conftest import first_then_long

DEMO = Path(__file__).parents[2] / "demo_jobs" / "concert-steel.toml"
BOOK = "job.parts.jsonl"


@pytest.fixture
def job(tmp_path):
    path = tmp_path / "job.toml"
    shutil.copy(DEMO, path)
    return path


def clearances(job):
    """As designed, from the bass side: shape (strings, 2)."""
    found = design(job_file.load(str(job)))
    at = np.array([1.0, 12.0])
    return np.array([s.clearance(found.instrument.board, at) for s in found.instrument.strings])


def table(values):
    count = len(values)
    return "{ " + ", ".join(f'{count - i} = "{v:.4f} mm"' for i, v in enumerate(values)) + " }"


def readings(job, name, over1, over12, more="", uncertainty=0.05):
    y = clearances(job)
    return written(job, name, y[:, 0] + over1, y[:, 1] + over12, more, uncertainty)


def written(job, name, first, action, more="", uncertainty=0.05):
    path = job.parent / name
    path.write_text(
        f'[readings]\nfirst_fret = {table(first)}\naction = {table(action)}\nsettled = "36 h"\n'
        f'uncertainty = "{uncertainty} mm"\n{more}\n',
        encoding="utf-8",
    )
    return str(path)


def cut(job, read_path, out, machine="hand-bench"):
    list(folder.refit(str(job), read_path, str(job.parent / out), machine, force=True))
    record = json.loads((job.parent / out / "refit.json").read_text(encoding="utf-8"))
    return record, sorted(p.name for p in (job.parent / out).glob("*.ngc"))


def events(job):
    lines = (job.parent / BOOK).read_text(encoding="utf-8").splitlines()
    return [json.loads(line)["event"] for line in lines]


# Rough parts stand .2 over at the nut and .5 at the saddle: .9439 .2 + .0561 .5 at fret 1, the mean
# of both at fret 12 (coefficients of the action geometry).
ROUGH = (0.9439 * 0.2 + 0.0561 * 0.5, 0.35)


def words_of(record, number):
    return next(s["words"] for s in record["strings"] if s["string"] == number)


def test_rough_parts_come_down_by_mill_and_every_program_is_proven(job):
    record, programs = cut(job, readings(job, "r.toml", *ROUGH), "out", "bench-mill")
    assert sorted(programs) == [
        "nut-refit-air.ngc", "nut-refit.ngc", "saddle-bottom-air.ngc", "saddle-bottom.ngc",
    ]  # fmt: skip
    assert all(p["proof"]["passed"] for p in record["programs"])
    for s in record["strings"]:
        assert 0.2 - 0.08 <= s["nut_take"] <= 0.2
        assert 0.5 - 0.06 <= s["saddle_take"] <= 0.52
        assert s["verdict"] == "cut"
    assert record["state"] == "cut"
    assert record["nut_top"] is False
    text = (job.parent / "out" / "saddle-bottom.ngc").read_text(encoding="ascii")
    assert "The crown is down" in text.replace(")\n(", " ")
    assert events(job) == ["made", "made", "readings", "refit"]


@pytest.mark.parametrize(
    ("machine", "milled"),
    first_then_long(
        [("bench-mill", [6, 5, 4, 3]), ("hand-bench", [])]
    ),  # 2 and 1 are too narrow for its tools
)
def test_the_book_says_which_slots_the_machine_cut(job, machine, milled):
    """A filed slot is made less surely than a milled one, so its band is wider."""
    record, _ = cut(job, readings(job, "r.toml", *ROUGH), "out", machine)
    book = (job.parent / BOOK).read_text(encoding="utf-8").splitlines()
    made = {e["part"]: e["milled"] for e in map(json.loads, book) if e["event"] == "made"}
    assert made == {"nut": milled, "saddle": [6, 5, 4, 3, 2, 1] if milled else []}
    by_number = {s["string"]: s["first_fret"]["foreseen_band"] for s in record["strings"]}
    assert (by_number[2] > by_number[5] + 0.005) == bool(milled)


def test_a_hand_bench_is_told_of_files_and_never_of_a_machine(job):
    record, programs = cut(job, readings(job, "r.toml", *ROUGH), "out")
    assert programs == []
    assert re.fullmatch(
        r"string 6 is 0\.\d\d mm too high at the nut: file its slot 0\.\d\d mm deeper, then measure"
        r" again",
        words_of(record, 6),
    )
    told = (job.parent / "out" / "refit.md").read_text(encoding="utf-8").split("Job digest")[1]
    assert not re.search(r"machine|program|zero|soft jaws", told)


def test_to_done_by_hand_slots_first_the_top_once_and_last(job):
    first, _ = cut(job, readings(job, "r1.toml", *ROUGH), "one")
    then = np.array([[s[k]["after"] for k in ("first_fret", "action")] for s in first["strings"]])
    second, _ = cut(job, written(job, "r2.toml", then[:, 0], then[:, 1]), "two")
    assert second["state"] == "done"
    assert second["nut_top"] is True
    assert {s["verdict"] for s in second["strings"]} == {"done"}
    assert words_of(second, 1).startswith("string 1 is done: ")
    third, _ = cut(job, written(job, "r3.toml", then[:, 0] + 0.01, then[:, 1]), "three")
    assert third["state"] == "done"
    assert third["nut_top"] is False
    assert {s["nut_take"] for s in third["strings"]} == {0}
    assert events(job) == ["made", "made", "readings", "refit", "readings", "refit", "readings"]


def test_a_second_round_starts_from_what_the_first_one_cut(job):
    first, _ = cut(job, readings(job, "r1.toml", *ROUGH), "one")
    second, _ = cut(job, readings(job, "r2.toml", 0.14, 0.1, 'measured = "twice"'), "two")
    assert second["refit"] == 2
    for a, b in zip(first["nut"], second["nut"], strict=True):
        assert b["floor_before"] == pytest.approx(a["floor_after"], abs=1e-4)


@pytest.mark.long
def test_an_uneven_saddle_gets_a_proven_crown(job):
    """0.25 mm from string to string is far more than readings good to 0.05 mm can be off by."""
    uneven = ROUGH[1] + np.array([0, 0.25, 0, 0.25, 0, 0.25])
    record, programs = cut(job, readings(job, "r.toml", ROUGH[0], uneven), "out", "bench-mill")
    assert record["saddle"]["by"] == "crown"
    assert programs == [
        "nut-refit-air.ngc", "nut-refit.ngc", "saddle-refit-air.ngc", "saddle-refit.ngc",
    ]  # fmt: skip
    assert all(p["proof"]["passed"] for p in record["programs"])
    takes = np.array([s["saddle_take"] for s in record["strings"]])
    assert np.all(takes[1::2] - takes[::2] > 0.3)


def test_what_is_uneven_within_the_readings_doubt_keeps_its_crown(job):
    uneven = ROUGH[1] + np.array([0, 0.05, 0, 0.05, 0, 0.05])
    record, _ = cut(job, readings(job, "r.toml", ROUGH[0], uneven), "out")
    assert record["saddle"]["by"] == "bottom"


@pytest.mark.long
def test_unevenness_that_two_readings_show_is_not_taken_for_their_scatter(job):
    """Seen once it may be either; seen again, string by string, it is the saddle's."""
    uneven = np.array([0, 0.2, 0, 0.2, 0, 0.2])
    one, _ = cut(job, readings(job, "r1.toml", ROUGH[0], ROUGH[1] + uneven), "one")
    then = [[s[k]["after"] for s in one["strings"]] for k in ("first_fret", "action")]
    taken = np.array([s["saddle_take"] for s in one["strings"]]) / 2
    seen = then[1] + uneven - (taken - taken.min())
    two, _ = cut(job, written(job, "r2.toml", np.array(then[0]), seen), "two")
    assert not any("scatter" in c for c in two["cautions"])


def test_the_same_readings_again_are_the_same_refit(job):
    path = readings(job, "r.toml", *ROUGH)
    one, _ = cut(job, path, "one")
    again, _ = cut(job, path, "two")
    assert again == one
    assert events(job) == ["made", "made", "readings", "refit"]


@pytest.mark.long
def test_the_same_readings_on_another_bench_stand_in_the_place_of_the_first(job):
    path = readings(job, "r.toml", *ROUGH)
    cut(job, path, "one")
    by_mill, _ = cut(job, path, "two", "bench-mill")
    assert by_mill["refit"] == 1
    later, _ = cut(job, readings(job, "r2.toml", 0.05, 0.05), "three")
    assert later["refit"] == 2
    for a, b in zip(by_mill["nut"], later["nut"], strict=True):
        assert b["floor_before"] == pytest.approx(a["floor_after"], abs=1e-4)


@pytest.mark.long
def test_a_refit_that_was_not_cut_is_left_out(job):
    one, _ = cut(job, readings(job, "r1.toml", *ROUGH), "one")
    told = readings(job, "r2.toml", ROUGH[0] + 0.01, ROUGH[1], 'last_refit = "not cut"')
    two, _ = cut(job, told, "two")
    for a, b in zip(one["nut"], two["nut"], strict=True):
        assert b["floor_before"] == a["floor_before"]
    (job.parent / BOOK).unlink()
    with pytest.raises(InputError, match="the book knows of no refit"):
        cut(job, told, "three")


@pytest.mark.parametrize(("left", "other"), first_then_long([("nut", "saddle"), ("saddle", "nut")]))
def test_a_refit_cut_on_one_part_alone(job, left, other):
    """Clearances by similar triangles: a nut left as it was counts 0.94 at fret 1, half at 12."""
    one, _ = cut(job, readings(job, "r1.toml", *ROUGH), "one")
    share = np.array([0.9439, 0.5]) if left == "nut" else np.array([0.0561, 0.5])
    take = np.array([s[f"{left}_take"] for s in one["strings"]])
    high = take[:, None] * share
    said = f'last_refit = "{left} not cut"'
    two, _ = cut(job, readings(job, "r2.toml", *high.T, said), "two")
    again = np.array([s[f"{left}_take"] for s in two["strings"]])
    assert again == pytest.approx(take, abs=0.06)
    assert max(s[f"{other}_take"] for s in two["strings"]) < 0.06
    assert '"part":"' + left in (job.parent / BOOK).read_text().replace(" ", "")


def test_of_what_was_not_asked_nothing_is_left_out(job):
    cut(job, readings(job, "r1.toml", ROUGH[0], 0.0), "one")
    told = readings(job, "r2.toml", ROUGH[0] + 0.01, 0.0, 'last_refit = "saddle not cut"')
    with pytest.raises(InputError, match="asked for nothing on the saddle"):
        cut(job, told, "two")


def test_a_new_nut_is_reckoned_from_as_it_is_made(job):
    one, _ = cut(job, readings(job, "r1.toml", *ROUGH), "one")
    told = readings(job, "r2.toml", 0.9439 * 0.2, 0.1 + 0.02, 'nut = "new"')
    two, _ = cut(job, told, "two")
    assert two["on_instrument"] == {"nut": 2, "saddle": 1}
    for a, b in zip(one["nut"], two["nut"], strict=True):
        assert b["floor_before"] == pytest.approx(a["floor_before"], abs=1e-4)
        assert b["floor_after"] < a["floor_before"] - 0.1


@pytest.mark.long
def test_a_shim_and_a_filled_slot_are_taken_up(job):
    cut(job, readings(job, "r1.toml", *ROUGH), "one")
    shimmed = readings(job, "r2.toml", 0.06 + 0.9439 * 0.3, 0.17, 'nut = "shimmed 0.30 mm"')
    two, _ = cut(job, shimmed, "two")
    assert all(s["nut_take"] > 0.2 for s in two["strings"])
    filled = np.array([0.3, 0, 0, 0, 0, 0])
    three, _ = cut(
        job, readings(job, "r3.toml", 0.05 + filled, 0.03 + filled / 2, "filled = [6]"), "three"
    )
    assert three["strings"][0]["nut_take"] > 0.15
    assert "shimmed" in events(job)
    assert "filled" in events(job)


SLIPS = {
    "inches": (lambda y: y / 25.4, "the readings are inches typed as millimetres"),
    "point": (lambda y: y * [0.1, 1], "the decimal point moved in all readings over fret 1"),
    "point at 12": (lambda y: y * [1, 0.1], "the decimal point moved in all readings over fret 12"),
    "swapped": (lambda y: y[:, ::-1], "fret 1 and fret 12 are swapped"),
    "reversed": (lambda y: y[::-1], "the readings are numbered from the wrong end"),
    "one off": (
        lambda y: y + 0.5 * np.eye(6, 2)[:, :1] * [1, 0],
        "one reading is wrong: string 6 over fret 1",
    ),
}


@pytest.mark.parametrize("slip", SLIPS)
def test_a_slip_of_the_pen_is_questioned_and_nothing_is_written(job, slip):
    change, words = SLIPS[slip]
    wrong = change(clearances(job) + np.array(ROUGH))
    told = written(job, "r.toml", wrong[:, 0], wrong[:, 1])
    with pytest.raises(RefusedError, match="these readings are not used") as refused:
        cut(job, told, "out")
    assert words in refused.value.faults[1].wrong
    assert refused.value.faults[1].key == "likely cause 1"
    assert not (job.parent / "out").exists()
    assert not (job.parent / BOOK).exists()


@pytest.mark.long
def test_another_nut_than_the_book_says_is_asked_about_first(job):
    cut(job, readings(job, "r1.toml", *ROUGH), "one")
    before = (job.parent / BOOK).read_bytes()
    told = readings(job, "r2.toml", 0.9439 * 0.2, 0.1 + 0.02)
    with pytest.raises(RefusedError, match="not used") as refused:
        cut(job, told, "two")
    assert "it is another than nut 1" in refused.value.faults[1].wrong
    assert 'nut = "new"' in refused.value.faults[1].fix
    assert (job.parent / BOOK).read_bytes() == before


@pytest.mark.long
def test_readings_taken_twice_are_used_and_let_loose_what_they_speak_against(job):
    cut(job, readings(job, "r1.toml", *ROUGH), "one")
    deep = np.array([0.05, 0.05, -0.25, 0.05, 0.05, 0.05])
    first = readings(job, "r2.toml", deep, 0.03)
    with pytest.raises(RefusedError, match="string 4 was read"):
        cut(job, first, "two")
    told = readings(job, "r2.toml", deep, 0.03, 'measured = "twice"')
    record, _ = cut(job, told, "two")
    assert "too low at the nut: fill its slot" in words_of(record, 4)
    assert record["state"] != "done"
    assert record["nut_top"] is False


@pytest.mark.long
def test_a_changed_job_is_refused_but_another_machine_is_not(job):
    cut(job, readings(job, "r1.toml", *ROUGH), "one")
    told = readings(job, "r2.toml", 0.05, 0.05)
    old = job.read_text(encoding="utf-8")
    job.write_text(old + '\n[plan]\nslots = "file"\n', encoding="utf-8")
    cut(job, told, "two")
    job.write_text(old.replace('"5.6 mm"', '"5.7 mm"'), encoding="utf-8")
    with pytest.raises(RefusedError, match="job was changed"):
        cut(job, told, "three")


@pytest.mark.long
def test_thicker_strings_ask_for_wider_slots_and_move_the_prediction(job):
    first, _ = cut(job, readings(job, "r1.toml", *ROUGH), "one")
    old = job.read_text(encoding="utf-8")
    gauge = re.search(r'gauge = "(0\.0\d+ in)"', old)[1]
    thicker = f"{float(gauge[:-3]) + 0.004:.3f} in"
    job.write_text(old.replace(gauge, thicker), encoding="utf-8")
    then = np.array([[s[k]["after"] for k in ("first_fret", "action")] for s in first["strings"]])
    record, _ = cut(job, written(job, "r2.toml", then[:, 0], then[:, 1]), "two")
    wider = [b["width_after"] - a["width_after"] for a, b in zip(first["nut"], record["nut"],
                                                                strict=True)]  # fmt: skip
    assert max(wider) == pytest.approx(0.004 * 25.4, abs=1e-3)
    assert min(wider) == 0
    assert "strings" in events(job)
    assert record["state"] == "cut"
    assert "widen it" in (job.parent / "two" / "refit.md").read_text(encoding="utf-8")
    again, _ = cut(job, written(job, "r3.toml", then[:, 0] + 0.01, then[:, 1]), "three")
    assert again["state"] == "done"


@pytest.mark.long
def test_new_strings_that_can_not_be_read_yet_get_their_slots_first(job):
    first, _ = cut(job, readings(job, "r1.toml", *ROUGH), "one")
    old = job.read_text(encoding="utf-8")
    gauge = re.search(r'gauge = "(0\.0\d+ in)"', old)[1]
    thicker = f"{float(gauge[:-3]) + 0.004:.3f} in"
    job.write_text(old.replace(gauge, thicker), encoding="utf-8")
    new = job.parent / "new.toml"
    new.write_text('[readings]\nstrings = "new"\n')
    record, _ = cut(job, str(new), "two")
    assert record["state"] == "cut"
    assert {s["nut_take"] for s in record["strings"]} == {0}
    assert record["saddle"]["by"] == "nothing"
    assert {s["verdict"] for s in record["strings"]} == {"not read"}
    told = (job.parent / "two" / "refit.md").read_text(encoding="utf-8")
    assert re.search(r"slot \d: widen it to", told)
    assert "first make the slots wider for the new strings" in told
    then = np.array([[s[k]["after"] for k in ("first_fret", "action")] for s in first["strings"]])
    last, _ = cut(job, written(job, "r3.toml", then[:, 0], then[:, 1]), "three")
    assert last["state"] == "done"


@pytest.mark.long
def test_new_strings_that_lie_in_the_slots_as_they_are_are_strung_and_read(job):
    cut(job, readings(job, "r1.toml", *ROUGH), "one")
    new = job.parent / "new.toml"
    new.write_text('[readings]\nstrings = "new"\n')
    record, _ = cut(job, str(new), "two")
    assert record["state"] == "string"
    assert "no slot need be wider" in (job.parent / "two" / "refit.md").read_text(encoding="utf-8")


def test_new_strings_before_any_reading_are_told_what_to_do(job):
    new = job.parent / "new.toml"
    new.write_text('[readings]\nstrings = "new"\n')
    with pytest.raises(InputError, match="the book knows of none"):
        cut(job, str(new), "one")


def test_new_targets_stand_in_the_readings_and_obey_the_design_check(job):
    lower = clearances(job)[:, 1] - 0.2
    told = readings(job, "r.toml", *ROUGH, f"want_action = {table(lower)}")
    record, _ = cut(job, told, "out")
    assert record["strings"][0]["action"]["wanted"] == pytest.approx(lower[0], abs=0.02)
    for bad in ('want_action = { bass = "0 mm", treble = "0 mm" }',):
        with pytest.raises(InputError, match="not believable"):
            cut(job, readings(job, "r.toml", *ROUGH, bad), "out")


def test_a_target_that_the_design_refuses_is_told_under_its_own_key(job):
    low = 'want_first_fret = { bass = "0.06 mm", treble = "0.06 mm" }'
    with pytest.raises(RefusedError, match=r"readings\.want_first_fret: nut\.first_fret: string 6"):
        cut(job, readings(job, "r.toml", *ROUGH, low), "out")


def test_new_targets_stand_in_place_of_a_gap_held_at_fret_3(job):
    text = job.read_text(encoding="utf-8")
    held = 'third_fret = { bass = "0.18 mm", treble = "0.13 mm" }'
    job.write_text(re.sub(r"(?m)^first_fret +=.*$", held, text), encoding="utf-8")
    wanted = 'want_first_fret = { bass = "0.60 mm", treble = "0.50 mm" }'
    record, _ = cut(job, readings(job, "r.toml", *ROUGH, wanted), "out")
    assert record["strings"][0]["first_fret"]["wanted"] == pytest.approx(0.6, abs=0.001)
    assert record["strings"][-1]["first_fret"]["wanted"] == pytest.approx(0.5, abs=0.001)


def test_a_low_part_is_named_and_nothing_is_cut(job):
    record, _ = cut(job, readings(job, "r.toml", -0.2, -0.3, 'measured = "twice"'), "out")
    assert {s["verdict"] for s in record["strings"]} == {"too low"}
    assert record["state"] == "mend"
    assert all(s["nut_take"] == 0 and s["saddle_take"] == 0 for s in record["strings"])


@pytest.mark.parametrize(("more", "told"), [(0.0, 0), (0.45, 1)])
def test_readings_outside_the_band_that_are_used_all_the_same_are_told(job, more, told):
    """Twice the spread of what is foreseen is 0.39 mm over fret 12 at the first stringing."""
    record, _ = cut(job, readings(job, "r.toml", ROUGH[0], 0.45 + more), "out")
    words = "over fret 12 most strings were read higher than expected"
    assert sum(words in c for c in record["cautions"]) == told


def test_a_slot_that_is_too_low_leaves_no_hump_under_its_string(job):
    """Its slot 0.6 too low also lowers its action, by half of that: the slot is to be filled, so
    the saddle comes down under it as under the others.
    """
    off1, off12 = np.full(6, ROUGH[0]), np.full(6, ROUGH[1])
    off1[2] -= 0.6 * 0.9439
    off12[2] -= 0.6 * 0.5
    record, _ = cut(job, readings(job, "r.toml", off1, off12, 'measured = "twice"'), "out")
    takes = {s["string"]: s["saddle_take"] for s in record["strings"]}
    assert "too low at the nut: fill its slot" in words_of(record, 4)
    assert record["saddle"]["by"] == "bottom"
    assert takes[4] == pytest.approx((takes[5] + takes[3]) / 2, abs=0.02)


def test_a_gap_read_with_the_string_held_at_fret_3_does_instead_of_fret_1(job):
    """On level frets the gap is 0.65 of the lift (geometry): s1/s3 is .0561/.1591 of the length."""
    text = job.read_text(encoding="utf-8")
    text = re.sub(r"(?m)^radius +=.*$", 'radius = "flat"', text)
    job.write_text(re.sub(r"(?m)^relief +=.*$", 'relief = "0 mm"', text), encoding="utf-8")
    found = design(job_file.load(str(job)))
    y = clearances(job)
    over_nut = 0.2
    gaps = [(s.lift + over_nut) * (1 - 0.05613 / 0.15910) for s in found.instrument.strings]
    path = job.parent / "r.toml"
    path.write_text(
        f"[readings]\nthird_fret = {table(gaps)}\naction = {table(y[:, 1] + ROUGH[1])}\n"
        'settled = "36 h"\n'
    )
    record, _ = cut(job, str(path), "out")
    for s, want in zip(record["strings"], y[:, 0] + ROUGH[0], strict=True):
        assert s["first_fret"]["read"] == pytest.approx(want, abs=0.002)


def test_a_damaged_book_is_told_and_nothing_is_written(job):
    cut(job, readings(job, "r1.toml", *ROUGH), "one")
    path = job.parent / BOOK
    path.write_text(path.read_text(encoding="utf-8").replace("0.05", "0.06"), encoding="utf-8")
    before = path.read_bytes()
    with pytest.raises(InputError, match="damaged"):
        cut(job, readings(job, "r2.toml", 0.1, 0.1), "two")
    assert path.read_bytes() == before
    assert not (job.parent / "two").exists()


@pytest.mark.long
def test_two_refits_at_once_count_one_from_what_the_other_cut(job):
    """Whichever comes first: the other one's floors start where the first one's end."""
    twice = 'measured = "twice"'
    readings(job, "r1.toml", *ROUGH, twice)
    readings(job, "r2.toml", ROUGH[0] + 0.02, ROUGH[1] + 0.02, twice)
    words = ("refit", "job.toml", "--machine", "hand-bench", "--out")
    at_once = [
        subprocess.Popen(
            [sys.executable, "-m", "blankcam", *words, f"out{n}", f"r{n}.toml"],
            cwd=job.parent, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE,
        )
        for n in (1, 2)
    ]  # fmt: skip
    for one in at_once:
        _, told = one.communicate(timeout=120)
        assert one.returncode == 0, told
    records = [json.loads((job.parent / f"out{n}" / "refit.json").read_text()) for n in (1, 2)]
    first, second = sorted(records, key=lambda r: r["refit"])
    assert (first["refit"], second["refit"]) == (1, 2)
    for a, b in zip(first["nut"], second["nut"], strict=True):
        assert b["floor_before"] == pytest.approx(a["floor_after"], abs=1e-4)
        assert a["floor_after"] < a["floor_before"]


FAR = {
    "at the nut": ((1.3, 0.65), "the nut stands 1.", "nothing usual moves it so far"),
    "at the saddle": ((0.07, 1.3), "the saddle stands 2.", "nothing usual moves it so far"),
    "over both frets": ((1.3, 1.3), "stands", "read again"),
}


@pytest.mark.parametrize("where", FAR)
def test_readings_far_from_the_promise_are_questioned_and_no_absurd_shim_is_advised(job, where):
    """1.3 mm over what the finished parts promise; a shim of a millimetre is the
    thickest believed.
    """
    off, first, fix = FAR[where]
    with pytest.raises(RefusedError, match="these readings are not used") as refused:
        cut(job, readings(job, "r.toml", ROUGH[0] + off[0], ROUGH[1] + off[1]), "out")
    assert first in refused.value.faults[1].wrong
    assert fix in refused.value.faults[1].fix
    assert not any("shimmed" in (f.fix or "") for f in refused.value.faults)
    assert not (job.parent / BOOK).exists()


def test_readings_of_nothing_are_no_readings(job):
    y = clearances(job)
    with pytest.raises(InputError, match="0 mm, not believable"):
        cut(job, written(job, "r.toml", 0 * y[:, 0], 0 * y[:, 1]), "out")


@pytest.mark.long
def test_what_is_a_hair_too_high_is_done_and_no_program_takes_it_off(job):
    """0.006 mm at the saddle is less than a mill repeats (0.015 mm) and far less than is read."""
    first, _ = cut(job, readings(job, "r1.toml", *ROUGH), "one", "bench-mill")
    then = np.array([[s[k]["after"] for k in ("first_fret", "action")] for s in first["strings"]])
    record, programs = cut(
        job, written(job, "r2.toml", then[:, 0], then[:, 1] + 0.003), "two", "bench-mill"
    )
    assert record["state"] == "done"
    assert record["saddle"]["by"] == "nothing"
    assert not any(p.startswith("saddle") for p in programs)
