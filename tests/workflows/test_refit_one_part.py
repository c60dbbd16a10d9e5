"""A refit of a job that makes one part: what is read of it is used, the other end
stands as it is.
"""

import json
import re
import shutil
from pathlib import Path

import numpy as np
import pytest

from blankcam.faults import InputError
from blankcam.inputs import job_file
from blankcam.parts.design import design
from blankcam.workflows.refit import folder

JOBS = Path(__file__).parents[2] / "demo_jobs"


@pytest.fixture
def nut_job(tmp_path):
    shutil.copy(JOBS / "nut-alone.toml", tmp_path / "job.toml")
    return tmp_path / "job.toml"


@pytest.fixture
def saddle_job(tmp_path):
    text = (JOBS / "concert-steel.toml").read_text(encoding="utf-8")
    text = re.sub(r"(?m)^nut +=.*\n", "", text)
    (tmp_path / "job.toml").write_text(text, encoding="utf-8")
    return tmp_path / "job.toml"


def clearances(job):
    found = design(job_file.load(str(job)))
    at = np.array([1.0, 12.0])
    return np.array([s.clearance(found.instrument.board, at) for s in found.instrument.strings])


def refit(job, more, out, machine="hand-bench"):
    path = job.parent / f"{out}.toml"
    path.write_text(f'[readings]\nsettled = "36 h"\nuncertainty = "0.05 mm"\n{more}\n')
    list(folder.refit(str(job), str(path), str(job.parent / out), machine, force=True))
    record = json.loads((job.parent / out / "refit.json").read_text(encoding="utf-8"))
    return record, (job.parent / out / "refit.md").read_text(encoding="utf-8")


def table(key, values):
    rows = ", ".join(f'{len(values) - i} = "{v:.3f} mm"' for i, v in enumerate(values))
    return f"{key} = {{ {rows} }}\n"


def after(record, key):
    return np.array([s[key]["after"] for s in record["strings"]])


def test_a_nut_alone_comes_down_to_done_from_fret_1_alone(nut_job):
    """Its floors stand 0.2 mm high, which fret 1 sees as about 0.19 (1 - s1/L)."""
    one, told = refit(nut_job, table("first_fret", clearances(nut_job)[:, 0] + 0.19), "one")
    assert one["state"] == "cut"
    assert "saddle" not in one
    assert one["on_instrument"] == {"nut": 1}
    for s in one["strings"]:
        assert s["saddle_take"] == 0
        assert 0.08 < s["nut_take"] <= 0.2
    assert "saddle" not in told.lower()
    assert "fret 12" not in told
    two, _ = refit(nut_job, table("first_fret", after(one, "first_fret")), "two")
    assert two["state"] == "done"
    assert two["nut_top"] is True
    assert all(re.fullmatch(r"string \d is done: 0\.\d\d mm over fret 1", s["words"])
               for s in two["strings"])  # fmt: skip


@pytest.mark.long
def test_a_nut_alone_comes_down_by_a_proven_program(nut_job):
    read = table("first_fret", clearances(nut_job)[:, 0] + 0.19)
    record, _ = refit(nut_job, read, "one", "bench-mill")
    assert {p["part"] for p in record["programs"]} == {"nut"}
    assert all(p["proof"]["passed"] for p in record["programs"])


@pytest.mark.long
def test_a_program_for_slots_alone_cuts_nothing_outside_them(nut_job):
    """Every move below the lowest of the standing top, at its crest, lies within a
    slot's window.
    """
    found = design(job_file.load(str(nut_job)))
    read = table("first_fret", clearances(nut_job)[:, 0] + 0.19)
    refit(nut_job, read, "one", "bench-mill")
    text = (nut_job.parent / "one" / "nut-refit.ngc").read_text(encoding="ascii")
    falls = found.nut.thickness * np.tan(found.nut.tilt)
    high = found.nut.height + found.nut.allowance - falls
    x, z, low = 0.0, 99.0, []
    for line in (each for each in text.splitlines() if "G53" not in each):
        words = dict(re.findall(r"\b([XZ])(-?[\d.]+)", line.split("(")[0].split(";")[0]))
        x, z = float(words.get("X", x)), float(words.get("Z", z))
        if words and z < high - 0.01 and 0 <= x <= found.nut.length:
            low.append(x)
    centres = np.array([s.centre for s in found.nut.slots])
    assert len(low) > 20
    assert max(float(np.min(np.abs(centres - x))) for x in low) < 2.0


def test_action_read_beside_a_nut_alone_is_a_check_and_says_so(nut_job):
    y = clearances(nut_job)
    read = table("first_fret", y[:, 0] + 0.19) + table("action", y[:, 1] + 0.5)
    record, told = refit(nut_job, read, "one")
    assert any("action is not needed" in c for c in record["cautions"])
    assert record["state"] == "cut"
    assert all(s["saddle_take"] == 0 for s in record["strings"])
    assert "not needed" in told


def test_a_bridge_set_anew_between_readings_is_no_surprise(nut_job):
    y = clearances(nut_job)
    read = table("first_fret", y[:, 0] + 0.19) + table("action", y[:, 1] + 0.1)
    one, _ = refit(nut_job, read, "one")
    lower = table("first_fret", after(one, "first_fret")) + table("action", y[:, 1] - 0.15)
    two, _ = refit(nut_job, lower, "two")
    assert two["state"] == "done"


def test_a_saddle_alone_comes_down_to_done_from_fret_12_alone(saddle_job):
    """It stands 0.5 mm high, and the pull lifts it: half of it is seen at fret 12."""
    y = clearances(saddle_job)
    one, told = refit(saddle_job, table("action", y[:, 1] + 0.35), "one")
    assert one["on_instrument"] == {"saddle": 1}
    assert "nut" not in one
    for s in one["strings"]:
        assert s["nut_take"] == 0
        assert 0.45 < s["saddle_take"] < 0.75
    assert not re.search(r"\bslot\b|\bnut\b", told.split("Job digest")[1])
    two, _ = refit(saddle_job, table("action", after(one, "action")), "two")
    assert two["state"] == "done"
    assert two["strings"][0]["words"].endswith("mm over fret 12")


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ('saddle = "new"', "is of the saddle, and this job makes no saddle"),
        ('saddle = "shimmed 0.30 mm"', "this job makes no saddle"),
        ('want_action = { bass = "2 mm", treble = "2 mm" }', "this job makes no saddle"),
    ],
)
def test_what_is_said_of_a_part_that_is_not_made_is_told(nut_job, more, words):
    read = table("first_fret", clearances(nut_job)[:, 0] + 0.19)
    with pytest.raises(InputError, match=words):
        refit(nut_job, read + more, "one")
    assert not (nut_job.parent / "one").exists()


def test_what_is_read_of_the_part_that_is_made_is_asked_for(nut_job, saddle_job):
    for job, key, missing in ((saddle_job, "first_fret", "action"),):
        with pytest.raises(InputError, match="is missing") as refused:
            refit(job, table(key, clearances(job)[:, 0]), "one")
        assert refused.value.faults[0].key == f"readings.{missing}"


def test_a_gap_at_fret_3_asks_for_the_action_it_is_worked_out_with(nut_job):
    gaps = table("third_fret", np.full(6, 0.3))
    with pytest.raises(InputError, match="worked out with it"):
        refit(nut_job, gaps, "one")
    with pytest.raises(InputError, match="has string 6, and action has not"):
        refit(nut_job, gaps + 'action = { 1 = "1.5 mm" }', "one")
