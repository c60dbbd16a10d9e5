"""A job that makes one part: the other is absent, and nothing is assumed for it."""

import json
import subprocess
import sys
from dataclasses import replace

import pytest

from blankcam.inputs import job_file
from blankcam.instrument.uncertainty import scatter
from blankcam.parts.design import design
from blankcam.parts.stage import Stage
from blankcam.workflows import layout
from tests.conftest import demo_job

NUT = '{ length = "52 mm", height = "10 mm", thickness = "5.0 mm" }'
SADDLE = '{ length = "80 mm", height = "12 mm", thickness = "3.2 mm" }'
STRINGS = '[saddle]\nstring_span = "52 mm"\naction = { bass = "1.9 mm", treble = "1.5 mm" }\n'


def job(blanks, extra=STRINGS):
    text = f'[instrument]\nname = "x"\nkind = "electric"\n{extra}\n[blanks]\n{blanks}\n'
    return job_file.parse(text, "j")


def test_a_nut_alone_assumes_nothing_of_the_saddle():
    found = design(job(f"nut = {NUT}"))
    assert found.saddle is None
    assert [p.name for p in found.parts] == ["nut"]
    assert not [k for k in found.job.assumed if k.startswith(("saddle.", "blanks.saddle"))]
    assert {c.part for c in found.checks} == {"nut"}
    assert not any("saddle" in c for c in found.cautions)


def test_a_saddle_alone_needs_of_the_nut_only_where_the_strings_lie():
    found = design(job(f"saddle = {SADDLE}"))
    assert found.nut is None
    left = {k for k in found.job.assumed if k.startswith(("nut.", "blanks.nut"))}
    assert left == {"nut.margin_bass", "nut.margin_treble", "nut.margin_to", "nut.spacing",
                    "nut.first_fret"}  # fmt: skip


@pytest.mark.parametrize("alone", ["nut", "saddle"])
def test_a_part_alone_is_the_one_made_beside_the_other(alone):
    both = design(job(f"nut = {NUT}\nsaddle = {SADDLE}"))
    one = design(job(f"{alone} = {NUT if alone == 'nut' else SADDLE}"))
    ours, theirs = getattr(one, alone), getattr(both, alone)
    if alone == "saddle":
        assert ours == theirs
    for a, b in zip(one.instrument.strings, both.instrument.strings, strict=True):
        assert a.z_nut == pytest.approx(b.z_nut, abs=1e-3)  # the ridge a little elsewhere
        assert a.lift == pytest.approx(b.lift, abs=1e-3)


def test_sizes_of_a_saddle_that_is_not_made_change_nothing():
    sizes = 'slot_depth = "9 mm"\nfret_line = "6 mm"\nslot_length = "20 mm"\nslot_width = "8 mm"\n'
    one, other = (design(job(f"nut = {NUT}", STRINGS + s)) for s in ("", sizes))
    assert one.nut == other.nut
    assert one.strings == other.strings
    seed = {"samples": 200, "seed": 3}
    assert scatter(one.job, one.instrument, **seed) == scatter(
        replace(other.job), other.instrument, **seed
    )


def test_without_any_blank_both_parts_are_laid_out_with_typical_ones():
    found = design(job("", STRINGS))
    assert len(found.parts) == 2
    assert "blanks.nut.length" in " ".join(found.job.assumed)


@pytest.mark.long
def test_files_of_the_other_part_are_absent(tmp_path):
    path = tmp_path / "job.toml"
    path.write_text(demo_job("nut-alone").read_text(encoding="utf-8"), encoding="utf-8")
    command = [sys.executable, "-m", "blankcam", "make", str(path), "--out", str(tmp_path / "out")]
    subprocess.run(command, check=True, capture_output=True)
    names = {p.name for p in (tmp_path / "out").iterdir()}
    assert not [n for n in names if "saddle" in n]
    assert {"nut.dxf", "nut-edge.ngc", "sheet.pdf", "preview.html", "bench.md"} <= names
    told = (tmp_path / "out" / "bench.md").read_text(encoding="utf-8").lower()
    assert "saddle" not in told
    report = json.loads((tmp_path / "out" / "report.json").read_text(encoding="utf-8"))
    assert "saddle" not in report
    assert {p["part"] for p in report["programs"]} == {"nut"}
    assert all(p["proof"]["passed"] for p in report["programs"])
    shown = layout.layout(str(path), None, Stage.ROUGH)
    assert not any(s.title.startswith("Saddle") for s in shown.sections)
