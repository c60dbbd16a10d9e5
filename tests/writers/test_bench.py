"""The bench list: complete, in order, short, harmless."""

import dataclasses
import re

import pytest

from blankcam import proving
from blankcam.cutting import explain, plan
from blankcam.data import table
from blankcam.job import read
from blankcam.machine.profile import ToolChange
from blankcam.machine.read import read_profile
from blankcam.parts.design import design
from blankcam.parts.stage import Stage
from blankcam.writers.bench import bench
from blankcam.writers.notice import notice
from tests.conftest import DEMO_JOBS

STEEL = next(p for p in DEMO_JOBS if p.stem == "concert-steel")


@pytest.fixture(scope="module")
def made():
    found = design(read.load(str(STEEL)))
    profile = read_profile("light-router")
    plans = {
        p.name: proving.plan_part(found, p, profile, Stage.ROUGH) for p in (found.nut, found.saddle)
    }
    return found, profile, plans


def section(text, name):
    return text[text.index(f"## {name}") :].split("\n## ")[0]


def test_every_program_tool_and_slot_is_named_in_order(made):
    found, profile, plans = made
    text = bench(found, profile, Stage.ROUGH, plans, {"nut-edge.ngc": 600.0})
    nut = section(text, "Nut")
    places = [nut.index(f"`{p.stem}.ngc`") for p in plans["nut"].programs]
    assert places == sorted(places)
    assert "`nut-edge.ngc`**, dry first, about 10 min" in nut
    order = ["Measure the blank", "Hold on face", "Zero: X0", "Fit", "nut-face.ngc", "Free it",
             "Hold on edge", "nut-edge.ngc", "Before unclamping", "Slots"]  # fmt: skip
    at = 0
    for word in order:
        at = nut.index(word, at)
    for program in plans["nut"].programs:
        fit = next(s for s in nut.splitlines() if f"`{program.stem}.ngc`" in s)
        numbers = [fit.index(f"T{t.number} {t.shape} {t.diameter:g} (") for t in program.tools]
        assert numbers == sorted(numbers)
        assert "12.00 (0.472) out of the collet" in fit
    for slot in found.nut.slots:
        row = f"| {slot.string} {slot.note} | {slot.centre:.2f} ({slot.centre / 25.4:.3f}) |"
        assert row in nut
    assert text.index("SAFETY NOTICE") < text.index("## Nut") < text.index("## Saddle")
    assert "refit" in text[text.index("## Then") :]
    numbers = [int(m) for m in re.findall(r"^(\d+)\. ", nut, re.MULTILINE)]
    assert numbers == list(range(1, len(numbers) + 1))


def test_all_of_it_goes_on_a_wall(made):
    profile = made[1]
    for job in DEMO_JOBS:
        other = design(read.load(str(job)))
        drawn = {
            p.name: proving.plan_part(other, p, profile, Stage.ROUGH)
            for p in (other.nut, other.saddle)
        }
        text = bench(other, profile, Stage.ROUGH, drawn, {})
        assert len(text.splitlines()) <= 60, job.stem
        # A part's own work: lines of 95 letters, as many as 10 pt leaves on A4 with its margins
        for name in ("Nut", "Saddle"):
            lines = section(text, name).splitlines()
            assert sum(1 + len(line) // 95 for line in lines) <= 45


def test_slots_with_one_reason_share_a_line(made):
    found, profile, plans = made
    nut = section(bench(found, profile, Stage.ROUGH, plans, {}), "Nut")
    said = re.findall(r"^- Slots? ([\d, ]+): (.*)$", nut, re.MULTILINE)
    named = [int(n) for numbers, _ in said for n in numbers.split(",")]
    assert sorted(named) == [s.string for s in found.nut.slots]
    assert len({why for _, why in said}) == len(said) < len(named)
    for numbers, why in said:
        for n in numbers.split(","):
            choice = next(c for c in plans["nut"].slots if c.string == int(n))
            assert why[:12] == choice.why[:12]
            assert not re.search(r"\d mm deep", why)


def test_hand_bench_has_no_programs(made):
    found, _, _ = made
    text = bench(found, read_profile("hand-bench"), Stage.ROUGH, {}, {})
    assert ".ngc" not in text
    assert "mm (in)" in text
    assert "file" in section(text, "Nut")
    assert "`sheet.pdf`" in section(text, "Saddle")
    top = found.saddle.height + found.saddle.allowance
    assert f"{top:.2f} ({top / 25.4:.3f}) over the seat side" in section(text, "Saddle")


@pytest.mark.parametrize("machine", ["bench-mill", "light-router", "template-laser", "hand-bench"])
def test_who_works_by_hand_is_told_of_dust_beside_any_machine(made, machine):
    found, _, _ = made
    profile = read_profile(machine)
    text = bench(found, profile, Stage.ROUGH, {}, {})
    words = table("notice")
    for line in (*words["material"]["bone"], *words["material"]["dust"], *words["person"]["breath"],
                 *words["machine"]["hand"], *words["last"]):  # fmt: skip
        assert line in text
    for line in notice("bone", str(profile.kind)):
        assert line in text


def test_a_milled_thickness_is_told(made):
    found, profile, _ = made
    job = dataclasses.replace(found.job, plan=dataclasses.replace(found.job.plan, thickness="mill"))
    thick = design(job)
    drawn = {"nut": proving.plan_part(thick, thick.nut, profile, Stage.ROUGH)}
    nut = section(bench(thick, profile, Stage.ROUGH, drawn, {}), "Nut")
    assert "the program mills off 0.035 (0.0014)" in nut
    assert "Z0 0.035 (0.0014) under its upper face" in nut
    fit = thick.nut.fit
    assert f"**Measure the thickness**: {fit.low:.3f}" in nut
    # On a bench without a mill the same job is rubbed
    nut = section(bench(thick, read_profile("hand-bench"), Stage.ROUGH, {}, {}), "Nut")
    assert "rub off 0.035 (0.0014)" in nut


def test_one_file_a_tool_is_fitted_and_run_one_after_the_other(made):
    found, profile, _ = made
    files = dataclasses.replace(
        profile,
        controller=dataclasses.replace(profile.controller, tool_change=ToolChange.FILE),
    )
    drawn = {"nut": proving.plan_part(found, found.nut, files, Stage.ROUGH)}
    nut = section(bench(found, files, Stage.ROUGH, drawn, {}), "Nut")
    for program in drawn["nut"].programs:
        line = next(s for s in nut.splitlines() if f"`{program.stem}.ngc`" in s)
        assert f"**Fit** T{program.tools[0].number} " in line
    assert nut.count("Hold on edge") == 1


@pytest.mark.parametrize("how", ["clamps", "fixture", "tape"])
def test_how_it_is_held_lying_down(made, how):
    found, profile, plans = made
    first, *rest = plans["nut"].programs
    held = dataclasses.replace(first.holding, face=how)
    changed = plan.Plan(programs=(dataclasses.replace(first, holding=held), *rest))
    nut = section(bench(found, profile, Stage.ROUGH, {"nut": changed}, {}), "Nut")
    said = {"clamps": "a clamp at each end of the waste, reaching 5.00 (0.197) over it",
            "fixture": "between walls 3.00 (0.118) high", "tape": "on a waste board by tape"}  # fmt: skip
    assert said[how] in nut


def test_a_name_is_no_markup(made):
    found, profile, plans = made
    named = dataclasses.replace(found.job.instrument, name="<b>x</b>\n# y")
    job = dataclasses.replace(found.job, instrument=named)
    text = bench(dataclasses.replace(found, job=job), profile, Stage.ROUGH, plans, {})
    assert "<b>" not in text
    assert "\n# y" not in text


def test_feed_rows_explain_every_operation(made):
    _, _, plans = made
    rows = explain.feed_rows(plans["nut"].programs)
    assert len(rows) == sum(len(p.operations) for p in plans["nut"].programs)
    assert all(len(r) == len(explain.HEADINGS) for r in rows)
    assert all("depth: " in r[-1] and "speed: " in r[-1] for r in rows)
