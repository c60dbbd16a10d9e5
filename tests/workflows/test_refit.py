"""A refit from files to files: proven programs, a second round, mistakes that must do no harm."""

import json
import shutil

import numpy as np
import pytest

from blankcam.faults import InputError, RefusedError
from blankcam.inputs import job_file
from blankcam.parts.design import design
from blankcam.workflows import refit
from tests.conftest import STEEL


@pytest.fixture
def job(tmp_path):
    path = tmp_path / "job.toml"
    shutil.copy(STEEL, path)
    return path


def by_number(values):
    """Lengths from the bass side as a table by string number."""
    count = len(values)
    return "{ " + ", ".join(f'{count - i} = "{v:.4f} mm"' for i, v in enumerate(values)) + " }"


def readings(job, name, over1, over12, more=""):
    found = design(job_file.load(str(job)))
    at = np.array([1.0, 12.0])
    y = np.array([s.clearance(found.instrument.board, at) for s in found.instrument.strings])
    rows = [by_number(y[:, i] + over) for i, over in enumerate((over1, over12))]
    path = job.parent / name
    path.write_text(
        f'[readings]\nfirst_fret = {rows[0]}\naction = {rows[1]}\nsettled = "36 h"\n'
        f'uncertainty = "0.02 mm"\n{more}\n',
        encoding="utf-8",
    )
    return str(path)


def cut(job, read_path, out, machine=None):
    list(refit.refit(str(job), read_path, str(job.parent / out), machine, force=True))
    record = json.loads((job.parent / out / "refit.json").read_text(encoding="utf-8"))
    return record, sorted(p.suffix for p in (job.parent / out).iterdir() if p.suffix == ".ngc")


# Rough parts stand .2 over at the nut and .5 at the saddle: .9439 .2 + .0561 .5 at fret 1, the mean
# of both at fret 12 (coefficients of the action geometry).
ROUGH = (0.9439 * 0.2 + 0.0561 * 0.5, 0.35)


def test_the_allowances_come_off_less_the_uncertainty_and_every_program_is_proven(job):
    record, programs = cut(job, readings(job, "r.toml", *ROUGH), "out")
    assert len(programs) == 2
    for s in record["strings"]:
        assert s["nut_take"] == pytest.approx(0.18, abs=0.004)
        assert s["saddle_take"] == pytest.approx(0.48, abs=0.02)
    assert record["saddle"]["by"] == "bottom"
    assert record["saddle"]["bottom_left"] == pytest.approx(0.48, abs=0.02)
    assert all(p["proof"]["passed"] for p in record["programs"])
    text = (job.parent / "out" / "saddle-bottom.ngc").read_text(encoding="ascii")
    assert "crown down" in text
    assert "0.18" in (job.parent / "out" / "refit.md").read_text(encoding="utf-8")


def test_an_uneven_saddle_gets_a_proven_crown(job):
    uneven = ROUGH[1] + np.array([0, 0.05, 0, 0.05, 0, 0.05])
    record, _ = cut(job, readings(job, "r.toml", ROUGH[0], uneven), "out")
    assert record["saddle"]["by"] == "crown"
    assert {p["file"] for p in record["programs"]} == {"nut-refit.ngc", "saddle-refit.ngc"}
    assert all(p["proof"]["passed"] for p in record["programs"])


def test_a_second_round_starts_from_what_the_first_one_cut(job):
    first, _ = cut(job, readings(job, "r1.toml", *ROUGH), "one")
    second, programs = cut(job, readings(job, "r2.toml", 0.1, 0.1), "two")
    assert second["refit"] == 2
    for a, b in zip(first["nut"], second["nut"], strict=True):
        assert b["floor_before"] == pytest.approx(a["floor_after"], abs=1e-4)
        assert b["floor_after"] == pytest.approx(a["floor_after"] - 0.08, abs=0.01)
    third, programs = cut(job, readings(job, "r3.toml", 0.02, 0.02), "three")
    assert programs == []
    assert {s["nut_take"] for s in third["strings"]} == {0}
    assert third["saddle"]["by"] == "nothing"


def test_the_same_readings_again_are_the_same_refit(job):
    path = readings(job, "r.toml", *ROUGH)
    one, _ = cut(job, path, "one")
    again, _ = cut(job, path, "two")
    assert again == one
    assert len((job.parent / "job.refits.jsonl").read_text(encoding="utf-8").splitlines()) == 1


def test_a_refit_that_was_not_cut_is_left_out(job):
    one, _ = cut(job, readings(job, "r1.toml", *ROUGH), "one")
    told = readings(job, "r2.toml", ROUGH[0] + 0.01, ROUGH[1], 'last_refit = "not cut"')
    two, _ = cut(job, told, "two")
    for a, b in zip(one["nut"], two["nut"], strict=True):
        assert b["floor_before"] == a["floor_before"]


def test_a_changed_job_is_refused_but_another_machine_is_not(job):
    cut(job, readings(job, "r1.toml", *ROUGH), "one")
    told = readings(job, "r2.toml", 0.1, 0.1)
    old = job.read_text(encoding="utf-8")
    job.write_text(old + '\n[plan]\nslots = "file"\n', encoding="utf-8")
    cut(job, told, "two")
    job.write_text(old.replace('"5.6 mm"', '"5.7 mm"'), encoding="utf-8")
    with pytest.raises(RefusedError, match="job was changed"):
        cut(job, told, "three")


def test_a_damaged_log_is_told_and_nothing_is_written(job):
    cut(job, readings(job, "r1.toml", *ROUGH), "one")
    path = job.parent / "job.refits.jsonl"
    path.write_text(path.read_text(encoding="utf-8").replace("0.1", "0.2"), encoding="utf-8")
    before = path.read_bytes()
    with pytest.raises(InputError, match="damaged"):
        cut(job, readings(job, "r2.toml", 0.1, 0.1), "two")
    assert path.read_bytes() == before
    assert not (job.parent / "two").exists()


def test_new_targets_stand_in_the_readings(job):
    found = design(job_file.load(str(job)))
    lower = by_number([s.action - 0.2 for s in found.instrument.strings])
    record, _ = cut(job, readings(job, "r.toml", *ROUGH, f"want_action = {lower}"), "out")
    assert record["strings"][0]["action_after"] == pytest.approx(
        found.instrument.strings[0].action - 0.2 + 0.02, abs=0.011
    )


def test_a_low_part_is_named(job):
    record, _ = cut(job, readings(job, "r.toml", -0.2, -0.3), "out")
    assert any("too low" in c for c in record["cautions"])
    assert all(s["nut_take"] == 0 and s["saddle_take"] == 0 for s in record["strings"])
