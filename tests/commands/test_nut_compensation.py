"""Nut compensation from the job to proven programs and a refit, through the installed command."""

import io
import json
import re

import ezdxf
import numpy as np
import pytest

from tests.conftest import STEEL
from tests.installed import refused, run

VALUES = '{ 6 = "0.5 mm", 5 = "0.2 mm", 4 = "0.3 mm", 3 = "0.0 mm", 2 = "0.4 mm", 1 = "0.1 mm" }'
BACK = {6: 0.0, 5: 0.3, 4: 0.2, 3: 0.5, 2: 0.1, 1: 0.4}
READINGS = """[readings]
first_fret = { bass = "0.77 mm", treble = "0.62 mm" }
action = { bass = "2.65 mm", treble = "2.15 mm" }
settled = "36 h"
uncertainty = "0.03 mm"
"""


def job_with(compensation):
    return STEEL.read_text(encoding="utf-8").replace(
        "[nut]", f"[nut]\ncompensation = {compensation}", 1
    )


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    folder = tmp_path_factory.mktemp("compensated")
    (folder / "job.toml").write_text(job_with(VALUES), encoding="utf-8")
    done = run("make", "job.toml", "--out", "cuts", "--machine", "light-router", cwd=folder)
    assert done.returncode == 0, done.stderr
    return folder


def test_report_has_each_edge_and_its_step(bench):
    report = json.loads((bench / "cuts" / "report.json").read_text())
    edges = {e["string"]: e for e in report["nut"]["edges"]}
    slots = {s["string"]: s for s in report["nut"]["slots"]}
    for string, back in BACK.items():
        edge = edges[string]
        assert edge["back"] == pytest.approx(back)
        if not back:
            assert edge["left"] is edge["by"] is None
            continue
        assert edge["by"] == "mill"
        assert edge["bottom"] == pytest.approx(slots[string]["floor_front"] - 0.5, abs=1e-6)
        assert edge["left"] < slots[string]["centre"] < edge["right"]
        assert len(edge["cents"]) == 12
    assert all(p["proof"]["passed"] for p in report["programs"])


def test_papers_and_drawings_know_the_steps(bench):
    cuts = bench / "cuts"
    work = (cuts / "bench.md").read_text()
    assert work.index("**Shorten the board's end** by 0.50") < work.index("**Measure the blank**")
    assert "**Measure the steps**" in work
    assert re.search(r"\| 3 G3 \| 0\.50 ", work)
    page = (cuts / "preview.html").read_text()
    assert "Nut compensation" in page
    drawing = ezdxf.read(io.StringIO((cuts / "nut.dxf").read_text()))
    lines = [list(e.get_points("xy")) for e in drawing.modelspace().query("LWPOLYLINE")]
    edges = json.loads((cuts / "report.json").read_text())["nut"]["edges"]
    for edge in (e for e in edges if e["left"] is not None):
        bottom = [(edge[end], edge["bottom"]) for end in ("left", "right")]
        low = [points[1:3] for points in lines if len(points) == 4]  # down, along, up
        assert sum(np.allclose(each, bottom, atol=1e-3) for each in low) == 1
    programs = [p for p in cuts.glob("nut-edge-*.ngc") if "front milled back" in p.read_text()]
    assert len(programs) == 1


@pytest.mark.long
def test_a_step_too_far_back_is_refused_by_prove(bench):
    (path,) = (
        p for p in (bench / "cuts").glob("nut-edge-*.ngc") if "front milled back" in p.read_text()
    )
    good = run("prove", path, "--job", "job.toml", "--machine", "light-router", cwd=bench)
    assert good.returncode == 0, good.stderr + good.stdout
    lines = path.read_text().splitlines()
    # The lowest pass along the back of string 3's step, 0.5 - 1.5 mm: 0.05 mm too far
    at = [i for i, line in enumerate(lines) if re.match(r"G1 Y-1(\.0+)?( |$)", line)][-1]
    lines[at] = re.sub(r"Y-1(\.0+)?", "Y-0.95", lines[at])
    bad = bench / path.name
    bad.write_text("\n".join(lines) + "\n")
    found = run("prove", bad, "--job", "job.toml", "--machine", "light-router", cwd=bench)
    assert found.returncode == 1
    assert "J01" in found.stdout + found.stderr
    assert "J07" in found.stdout + found.stderr


@pytest.mark.long
def test_a_refit_keeps_the_steps(bench):
    (bench / "readings.toml").write_text(READINGS, encoding="utf-8")
    done = run("refit", "job.toml", "readings.toml", "--out", "refit", "--machine", "light-router",
               cwd=bench)  # fmt: skip
    assert done.returncode == 0, done.stderr
    found = json.loads((bench / "refit" / "refit.json").read_text())
    assert found["programs"]
    assert all(p["proof"]["passed"] for p in found["programs"])
    for name in (bench / "refit").glob("nut-*.ngc"):
        assert "front milled back" not in name.read_text()


@pytest.mark.long
def test_a_hand_bench_gets_the_steps_as_one_step_with_its_measures(tmp_path):
    (tmp_path / "job.toml").write_text(job_with(VALUES), encoding="utf-8")
    done = run("make", "job.toml", "--out", "cuts", "--machine", "hand-bench", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    work = (tmp_path / "cuts" / "bench.md").read_text()
    assert work.count("**Cut the front back** at strings 5, 4, 3, 2 and 1") == 1
    assert work.index("**Top**") < work.index("**Cut the front back**") < work.index("**Slots**")
    report = json.loads((tmp_path / "cuts" / "report.json").read_text())
    assert {e["by"] for e in report["nut"]["edges"]} == {None, "file"}


@pytest.mark.long
def test_none_leaves_every_word_as_it_is(tmp_path):
    """Written out or left out, "none" is the same layout to the byte but for the job's digest."""
    path = tmp_path / "job.toml"
    path.write_text(job_with('"none"'), encoding="utf-8")
    told, plain = (json.loads(run("layout", p, "--json").stdout) for p in (path, STEEL))
    for each in (told, plain):
        each.pop("job_digest")
        each["assumed"] = [a for a in each["assumed"] if a != "nut.compensation"]
    assert told == plain
    assert told["nut"]["edges"] == []


@pytest.mark.parametrize(
    ("given", "code", "words"),
    [
        ('"some"', 2, r'nut\.compensation.*"?some"?.*expected "none" or "computed"'),
        ("[0.1, 0.2]", 2, r"nut\.compensation"),
        ("0.3", 2, r"nut\.compensation.*0\.3"),
        ('{ 6 = "0.1 mm" }', 2, r"nut\.compensation"),
        ('{ bass = "40 mm", treble = "0 mm" }', 2, r"nut\.compensation.*40"),
        ('{ bass = "2.9 mm", treble = "-2.9 mm" }', 1, r"nut\.compensation.*would stay behind"),
    ],
)
def test_bad_input_is_one_line_with_key_value_and_fix(given, code, words, tmp_path):
    (tmp_path / "job.toml").write_text(job_with(given), encoding="utf-8")
    done = run("make", "job.toml", "--out", "cuts", cwd=tmp_path)
    refused(done, code, words)
    assert not (tmp_path / "cuts").exists()
