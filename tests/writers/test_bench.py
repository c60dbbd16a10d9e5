"""The bench list: complete, in order, harmless."""

import dataclasses

import pytest

from blankcam.cutting import explain, plan
from blankcam.job import read
from blankcam.machine.read import read_profile
from blankcam.parts.design import design
from blankcam.parts.stage import Stage
from blankcam.writers.bench import bench
from tests.conftest import DEMO_JOBS


@pytest.fixture(scope="module")
def made():
    found = design(read.load(str(DEMO_JOBS[0])))
    profile = read_profile("light-router")
    blank = dataclasses.replace(found.job.blanks.nut, thickness=found.nut.thickness)
    nut = plan.plan_nut(
        found.nut, blank, profile, found.job.blanks.material, Stage.ROUGH, outline_by="mill"
    )
    return found, profile, nut


def test_every_program_tool_and_slot_is_named_in_order(made):
    found, profile, nut = made
    text = bench(found, profile, Stage.ROUGH, {"nut": nut}, {"nut-edge.ngc": 600.0})
    places = [text.index(f"`{p.stem}.ngc`") for p in nut.programs]
    assert places == sorted(places)
    assert "about 10 min" in text
    assert places[0] < text.index("Saw through the tabs") < places[1]
    for program in nut.programs:
        for tool in program.tools:
            assert f"tool {tool.number}: " in text
    for slot in found.nut.slots:
        assert f"Slot {slot.string} {slot.note} at {slot.centre:.2f} mm" in text
        assert f"({slot.centre / 25.4:.3f} in)" in text
    assert text.index("SAFETY NOTICE") < text.index("## Nut") < text.index("## Saddle")
    assert "refit" in text[text.index("## Then") :]


def test_hand_bench_has_no_programs(made):
    found, _, _ = made
    text = bench(found, read_profile("hand-bench"), Stage.ROUGH, {}, {})
    assert ".ngc" not in text
    assert "by file" in text


def test_a_name_is_no_markup(made):
    found, profile, nut = made
    named = dataclasses.replace(found.job.instrument, name="<b>x</b>\n# y")
    job = dataclasses.replace(found.job, instrument=named)
    text = bench(dataclasses.replace(found, job=job), profile, Stage.ROUGH, {"nut": nut}, {})
    assert "<b>" not in text
    assert "\n# y" not in text


def test_feed_rows_explain_every_operation(made):
    _, _, nut = made
    rows = explain.feed_rows(nut.programs)
    assert len(rows) == sum(len(p.operations) for p in nut.programs)
    assert all(len(r) == len(explain.HEADINGS) for r in rows)
    assert all("depth: " in r[-1] and "speed: " in r[-1] for r in rows)
