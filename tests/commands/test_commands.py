"""Each promise to the maker, once, through the installed command."""

import json
import re
import shutil
import subprocess
import sys

import pytest

from blankcam.inputs.job import KINDS
from blankcam.inputs.job_file import MEASURED
from tests.conftest import EACH_DEMO_JOB, REPO, STEEL, demo_job, first_then_long
from tests.installed import refused, run


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    out = tmp_path_factory.mktemp("made") / "steel"
    done = run("make", STEEL, "--out", out)
    assert done.returncode == 0, done.stderr
    return out


@pytest.mark.parametrize("path", EACH_DEMO_JOB)
def test_layout_tells_every_number_readably(path):
    done = run("layout", path, COLUMNS="110")
    assert done.returncode == 0, done.stderr
    for words in ("centre", "clear gap", "slot width", "floor over seat", "depth", "tilt", "lift",
                  "exposed", "compensation", "fit", "Assumed", "Cautions", "(in)"):  # fmt: skip
        assert words in done.stdout, words
    # where the blank is thicker than its fit takes, and only there
    thick = any(c["rub_off"] for c in json.loads(run("layout", path, "--json").stdout)["blanks"])
    assert ("rub off" in done.stdout) == thick


@pytest.mark.long
def test_no_number_is_minus_nothing():
    """Cents of the courses' frets fall from over to under zero: several round to it."""
    told = run("layout", demo_job("five-course-cittern")).stdout
    assert re.search(r"\+0\.0\b", told)
    assert not re.search(r"-0\.0+\b", told)


def test_layout_as_json_has_the_contracts_keys():
    done = run("layout", STEEL, "--json")
    report = json.loads(done.stdout)
    assert {"job", "stage", "machine", "cautions", "nut", "saddle", "strings", "programs"} <= set(
        report
    )
    assert {"length", "height", "thickness", "top_radius", "slots"} <= set(report["nut"])
    slot_keys = {"string", "note", "course", "centre", "width", "floor_front", "depth_front", "tilt",
                 "lift", "by", "tool"}  # fmt: skip
    assert all(slot_keys <= set(s) for s in report["nut"]["slots"])
    assert {s["by"] for s in report["nut"]["slots"]} <= {"mill", "file"}
    saddle_keys = {"string", "note", "centre", "height", "setback", "ridge", "residual"}
    assert all(saddle_keys <= set(s) for s in report["saddle"]["strings"])
    string_keys = {"note", "gauge", "unit_weight", "tension", "break_angle", "downforce", "cents"}
    assert all(string_keys <= set(s) and len(s["cents"]) == 12 for s in report["strings"])
    for s in report["strings"]:
        assert len(s["buzz"]["open"]) == 20
        assert s["buzz"]["least"] <= min(s["buzz"]["open"])
        # where something is kept the action could come down, by no more than is kept and lever asks
        assert (s["buzz"]["least"] > 0) == (s["least_action"] < s["action"])
    # 1 3/4 in nut; slots from the bass side stand between its margins of 3.4 and 3.2 mm
    assert report["nut"]["length"] == pytest.approx(44.45)
    assert report["nut"]["slots"][0]["centre"] == pytest.approx(3.4)
    assert report["nut"]["slots"][-1]["centre"] == pytest.approx(41.25)
    # 0.053 in + 0.003 in
    assert report["nut"]["slots"][0]["width"] == pytest.approx(0.056 * 25.4, abs=1e-4)


def test_make_writes_the_whole_set_proven(made):
    names = {p.name for p in made.iterdir()}
    assert {"nut.dxf", "saddle.dxf", "nut-edge.ngc", "saddle-edge.ngc", "report.json"} <= names
    report = json.loads((made / "report.json").read_text())
    assert {p["file"] for p in report["programs"]} <= names
    keys = {"file", "part", "setup", "stage", "tools", "lines", "cut_length", "seconds", "proof"}
    proof_keys = {"passed", "gouge_um", "left_um", "rapid_contacts", "holder_contacts",
                  "holding_contacts", "outside_travel", "faults"}  # fmt: skip
    for program in report["programs"]:
        assert keys <= set(program)
        assert proof_keys <= set(program["proof"])
        assert program["proof"]["passed"] is True
        assert program["proof"]["gouge_um"] <= 5
        assert program["proof"]["left_um"] <= 20
        text = (made / program["file"]).read_text()
        assert program["lines"] == text.count("\n")
        assert text.isascii()
        assert "SAFETY NOTICE" in text
        assert max(map(len, text.splitlines())) <= 79


@pytest.mark.long
def test_the_same_job_makes_the_same_bytes(made, tmp_path):
    assert run("make", STEEL, "--out", tmp_path / "again").returncode == 0
    for path in made.iterdir():
        assert (tmp_path / "again" / path.name).read_bytes() == path.read_bytes(), path.name


@pytest.mark.long
def test_dxf_and_gcode_alone(tmp_path):
    assert run("dxf", STEEL, "--out", tmp_path / "d").returncode == 0
    assert {p.suffix for p in (tmp_path / "d").glob("[a-z]*")} == {".dxf"}
    assert run("gcode", STEEL, "--out", tmp_path / "g", "--stage", "final").returncode == 0
    assert {p.suffix for p in (tmp_path / "g").glob("[a-z]*")} == {".ngc"}
    assert "stage final" in (tmp_path / "g" / "nut-edge.ngc").read_text()


def test_prove_says_as_written(made):
    done = run("prove", made / "nut-edge.ngc", "--job", STEEL)
    assert done.returncode == 0, done.stdout
    assert "passed" in done.stdout
    assert "as written" in unbroken(done.stdout)
    as_json = json.loads(run("prove", made / "saddle-edge.ngc", "--job", STEEL, "--json").stdout)
    assert as_json["proof"]["passed"] is True


def test_prove_catches_a_program_edited_by_hand(made, tmp_path):
    lines = (made / "nut-edge.ngc").read_text().splitlines()
    # the deepest cut of the slots goes 0.3 mm deeper
    at = max(i for i, line in enumerate(lines) if re.fullmatch(r"G1 Y\S+ Z\S+( F\S+)?", line))
    z = float(re.search(r"Z(\S+)", lines[at])[1])
    lines[at] = lines[at].replace(f"Z{z:g}", f"Z{z - 0.3:g}")
    edited = tmp_path / "nut-edge.ngc"
    edited.write_text("\n".join(lines) + "\n")
    done = run("prove", edited, "--job", STEEL)
    assert done.returncode == 1
    assert "FAILED" in done.stdout
    assert "differs from what was written" in done.stdout
    assert f"line {at + 1}" in done.stdout


@pytest.mark.long
def test_a_good_edit_passes_but_is_told(made, tmp_path):
    text = (made / "saddle-edge.ngc").read_text()
    slower = re.sub(r" F(\d+)", lambda m: f" F{int(m[1]) * 9 // 10}", text)
    assert slower != text
    (tmp_path / "saddle-edge.ngc").write_text(slower)
    done = run("prove", tmp_path / "saddle-edge.ngc", "--job", STEEL)
    assert done.returncode == 0, done.stdout
    assert "differs from what was written" in done.stdout


def test_machines_are_listed_and_shown(tmp_path):
    listed = run("machines").stdout
    assert "bench-mill" in listed
    assert "light-router" in listed
    shown = run("machines", "bench-mill").stdout
    assert "rpm" in shown
    own = tmp_path / "mine.toml"
    own.write_text((REPO / "machines" / "light-router.toml").read_text())
    assert run("machines", own).returncode == 0
    own.write_text(own.read_text().replace("spindle_max", "spindel_max"))
    refused(run("machines", own), 2, "spindle_max")
    refused(run("machines", "no-such"), 2, "no-such")


@pytest.mark.long
@pytest.mark.parametrize("kind", ["classical", "ukulele", "mandolin"])
def test_a_started_job_makes_as_it_stands(kind, tmp_path):
    job = tmp_path / "mine.toml"
    assert run("start", job, "--like", kind).returncode == 0
    assert run("layout", job).returncode == 0
    done = run("make", job, "--out", tmp_path / "out")
    assert done.returncode == 0, done.stderr
    refused(run("start", job, "--like", kind), 2, "already exists")


def test_faults_are_a_line_each_and_nothing_is_written(tmp_path):
    job = tmp_path / "bad.toml"
    job.write_text(STEEL.read_text().replace('fret_height  = "1.05 mm"', "fret_height = 1.05")
                   .replace("seat_width ", "seat_with "))  # fmt: skip
    done = run("make", job, "--out", tmp_path / "out")
    refused(done, 2, "board.fret_height")
    assert "seat_width" in done.stderr
    assert len(done.stderr.splitlines()) == 2
    assert not (tmp_path / "out").exists()


def test_what_must_not_be_cut_is_exit_one(tmp_path):
    job = tmp_path / "small.toml"
    job.write_text(STEEL.read_text().replace('length = "52 mm"', 'length = "42 mm"'))
    done = run("make", job, "--out", tmp_path / "out")
    refused(done, 1, r"blanks\.nut\.length.*too small by 2\.45 mm")
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("was", "now", "key"),
    first_then_long([
        ('length = "52 mm"', 'length = "42 mm"', "blanks.nut.length"),
        ('margin_bass   = "3.4 mm"', 'margin_bass = "0.5 mm"', "nut.margin_bass"),
    ]),
)  # fmt: skip
def test_layout_tells_its_numbers_beside_a_refusal(tmp_path, was, now, key):
    job = tmp_path / "refused.toml"
    assert was in STEEL.read_text()
    job.write_text(STEEL.read_text().replace(was, now))
    done = run("layout", job)
    assert done.returncode == 1
    assert key in done.stderr
    assert "Nut: how deep, at its front edge" in done.stdout
    assert f"make will refuse it: {job}: {key}" in unbroken(done.stdout)
    known = json.loads(run("layout", job, "--json").stdout)
    assert [key in why for why in known["refusals"]] == [True] * len(known["refusals"])
    assert len(known["nut"]["slots"]) == 6
    assert json.loads(run("layout", STEEL, "--json").stdout)["refusals"] == []


def test_layout_shows_by_how_much_a_blank_is_too_small(tmp_path):
    job = tmp_path / "small.toml"
    job.write_text(STEEL.read_text().replace('length = "52 mm"', 'length = "42 mm"'))
    told = run("layout", job, COLUMNS="120").stdout
    (row,) = (c for c in json.loads(run("layout", job, "--json").stdout)["blanks"]
              if (c["part"], c["dimension"]) == ("nut", "length"))  # fmt: skip
    assert row["need"] - row["have"] == pytest.approx(2.45)
    assert "too small" in told


@pytest.mark.long
def test_a_program_for_another_machine_is_told_so(made):
    """It is no program of this machine's: that one takes a file a tool."""
    done = run("prove", made / "nut-edge.ngc", "--job", STEEL, "--machine", "light-router")
    refused(done, 2, "for the machine bench mill, not for the light router; name it with --machine")


def test_a_machine_that_a_job_names_is_looked_for_beside_the_job(tmp_path):
    folder, elsewhere = tmp_path / "jobs", tmp_path / "elsewhere"
    folder.mkdir()
    elsewhere.mkdir()
    profile = (REPO / "machines" / "hand-bench.toml").read_text()
    (folder / "own.toml").write_text(profile.replace('name = "hand bench"', 'name = "my bench"'))
    job = folder / "job.toml"
    job.write_text(STEEL.read_text() + '\n[plan]\nmachine = "own.toml"\n')
    known = json.loads(run("layout", job, "--json", cwd=elsewhere).stdout)
    assert known["machine"] == "my bench"
    job.write_text(STEEL.read_text() + '\n[plan]\nmachine = "my-mill"\n')
    refused(run("layout", job), 2, r"job\.toml: plan\.machine: 'my-mill': is not a machine profile")


def unbroken(text):
    """A text whose lines are put together again: they end where the terminal does."""
    return " ".join(text.split())


@pytest.mark.long
def test_a_thickness_is_milled_where_the_job_says_so(tmp_path):
    job = tmp_path / "thick.toml"
    thick = STEEL.read_text().replace('"6.08 mm"', '"6.60 mm"')
    job.write_text(thick + '\n[plan]\nthickness = "mill"\n')
    done = run("make", job, "--out", tmp_path / "out", "--stage", "final")
    assert done.returncode == 0, done.stderr
    assert "mills off 0.554 mm" in unbroken(
        done.stdout
    )  # 6.60 less the middle of 6.05 h6: 6.042 to 6.050
    assert "(thickness upper face" in (tmp_path / "out" / "nut-face.ngc").read_text()
    assert "mills off 0.554 mm" in told(run("layout", job))


@pytest.mark.long
def test_a_thickness_too_much_for_the_mill_is_left_to_the_hand(tmp_path):
    job = tmp_path / "thick.toml"
    thick = STEEL.read_text().replace('"6.08 mm"', '"8.60 mm"')
    job.write_text(thick + '\n[plan]\nthickness = "mill"\n')
    done = run("make", job, "--out", tmp_path / "out")
    assert done.returncode == 0, done.stderr
    assert re.search(
        r"nut's thickness left to the hand: blanks\.nut\.thickness.*too thick.*saw or plane it",
        unbroken(done.stdout),
    )
    assert "mills off" not in unbroken(done.stdout)
    assert "(thickness" not in (tmp_path / "out" / "nut-face.ngc").read_text()
    bench = (tmp_path / "out" / "bench.md").read_text(encoding="utf-8")
    assert "sawn or planed near it first" in bench


def test_wrong_arguments_are_one_line():
    for args in (["make"], ["make", STEEL], ["lay"], ["layout", STEEL, "--stage", "half"],
                 ["layout", "no-such.toml"], ["start", "x.toml"], ["layout", STEEL, "--bad"]):  # fmt: skip
        done = run(*args)
        assert done.returncode == 2, (args, done.stdout, done.stderr)
        assert len(done.stderr.strip().splitlines()) == 1, done.stderr
    assert run("--help").returncode == 0
    assert "blankcam" in run("--version").stdout


@pytest.mark.long
def test_an_old_good_set_is_never_lost(made, tmp_path):
    out = tmp_path / "kept"
    shutil.copytree(made, out)
    before = {p.name: p.read_bytes() for p in out.iterdir()}
    job = tmp_path / "small.toml"
    job.write_text(STEEL.read_text().replace('length = "52 mm"', 'length = "42 mm"'))
    assert run("make", job, "--out", out).returncode == 1
    assert {p.name: p.read_bytes() for p in out.iterdir()} == before
    (out / "notes.txt").write_text("the maker's own")
    refused(run("make", STEEL, "--out", out), 2, "notes.txt")
    assert run("make", STEEL, "--out", out, "--force").returncode == 0
    assert (out / "notes.txt").read_text() == "the maker's own"


@pytest.mark.long
def test_the_terminal_may_be_narrow_and_plain():
    done = run("layout", STEEL, COLUMNS="60", PYTHONIOENCODING="ascii", NO_COLOR="1")
    assert done.returncode == 0, done.stderr
    assert done.stdout.isascii()
    assert "\x1b" not in done.stdout


def test_layout_and_help_stay_light():
    code = """
import sys
from blankcam.cli import run_cli
sys.argv[1:] = {args!r}
try:
    run_cli()
except SystemExit:
    pass
print(sorted(m for m in {heavy!r} if m in sys.modules), file=sys.stderr)
"""
    for args, heavy in (
        (["--version"], ["numpy", "ezdxf", "shapely", "pydantic", "reportlab"]),
        (
            ["layout", str(STEEL), "--json"],
            ["blankcam.toolpath", "ezdxf", "shapely", "reportlab", "numpy.ma"],
        ),
    ):
        done = subprocess.run(
            [sys.executable, "-c", code.format(args=[str(a) for a in args], heavy=heavy)],
            capture_output=True, text=True, timeout=60, check=True,
        )  # fmt: skip
        assert done.stderr.strip().splitlines()[-1] == "[]", done.stderr


def told(done):
    """The cautions that a layout's text holds, its lines put together again."""
    assert done.returncode == 0, done.stderr
    text = done.stdout.split("\nCautions")[1].split("\nNext")[0]
    return unbroken(text)


@pytest.mark.long
@pytest.mark.parametrize("machine", ["bench-mill", "light-router", "template-laser", "hand-bench"])
def test_layout_tells_every_caution_that_make_would(machine, tmp_path):
    made = run("make", STEEL, "--out", tmp_path / "out", "--machine", machine)
    said = re.findall("^caution: (.*)$", made.stdout, re.MULTILINE)
    shown = told(run("layout", STEEL, "--machine", machine))
    assert said
    for caution in said:
        assert caution in shown
    record = json.loads((tmp_path / "out" / "report.json").read_text())
    alone = run("layout", STEEL, "--machine", machine, "--json")
    assert set(json.loads(alone.stdout)["cautions"]) == set(record["cautions"])


@pytest.mark.long
def test_layout_tells_what_a_laser_will_refuse(tmp_path):
    """A template of card for a phenolic part is cut; what is refused is phenolic under the beam."""
    job, own = demo_job("phenolic-ukulele"), tmp_path / "laser.toml"
    shown = told(run("layout", job, "--machine", "template-laser"))
    assert "make will refuse it" not in shown
    assert "never the phenolic laminate itself" in shown
    laser = (REPO / "machines" / "template-laser.toml").read_text()
    own.write_text(laser.replace('stock = "card"', 'stock = "phenolic laminate"'))
    assert "make will refuse it" in told(run("layout", job, "--machine", own))


@pytest.mark.long
def test_the_command_says_what_lies_under_a_laser(tmp_path):
    args = ("dxf", demo_job("phenolic-ukulele"), "--machine", "template-laser", "--out")
    assert run(*args, tmp_path / "card").returncode == 0
    assert (tmp_path / "card" / "nut-cut.dxf").exists()
    done = run(*args, tmp_path / "pvc", "--stock-material", "pvc")
    assert done.returncode == 1
    assert "stock: 'pvc': must not be cut by a laser: it gives off hydrogen chloride" in done.stderr
    assert not (tmp_path / "pvc").exists()
    done = run("dxf", STEEL, "--out", tmp_path / "mill", "--stock-material", "card")
    assert done.returncode == 2
    assert "--stock-material" in done.stderr


@pytest.mark.long
@pytest.mark.parametrize(
    ("was", "becomes"),
    [
        ("", ""),
        ('jaw_top = "auto"', 'jaw_top = "1 mm"'),
        ('shape = "ball"', 'shape = "flat"'),
        ('stick_out = "12 mm"', 'stick_out = "40 mm"'),
    ],
    ids=["as it is", "little grip", "no ball", "limber"],
)
def test_layout_foretells_what_make_leaves_to_the_hand_and_nothing_else(was, becomes, tmp_path):
    mill = (REPO / "machines" / "bench-mill.toml").read_text()
    assert was in mill
    (tmp_path / "mill.toml").write_text(mill.replace(was, becomes) if was else mill)
    foretold = run("layout", STEEL, "--machine", tmp_path / "mill.toml")
    done = run("make", STEEL, "--machine", tmp_path / "mill.toml", "--out", tmp_path / "out")
    assert (foretold.returncode, done.returncode) == (0, 0)
    left = [re.findall(r"the (?:nut|saddle)'s [a-z ]+ left to the hand", unbroken(d.stdout))
            for d in (foretold, done)]  # fmt: skip
    assert left[0] == left[1]
    assert bool(left[0]) == bool(was)
    assert "refuse" not in foretold.stdout


@pytest.mark.parametrize("kind", first_then_long(KINDS))
def test_a_started_job_assumes_only_what_it_has_a_use_for(kind, tmp_path):
    run("start", "x.toml", "--like", kind, cwd=tmp_path)
    done = run("layout", "x.toml", "--json", cwd=tmp_path)
    assert set(json.loads(done.stdout)["assumed"]) == set(MEASURED)
