"""The bench list: complete, in order, short, harmless."""

import dataclasses
import io
import math
import re
from itertools import pairwise

import ezdxf
import pytest

from blankcam.data import table
from blankcam.gcode.header import touch_words
from blankcam.inputs import job_file
from blankcam.inputs.machine import ToolChange
from blankcam.inputs.machine_file import read_profile
from blankcam.outputs.papers.bench_list import bench
from blankcam.outputs.reasons import words
from blankcam.outputs.tables import machine_work
from blankcam.parts.design import design
from blankcam.parts.stage import Stage
from blankcam.safety import notice
from blankcam.toolpath.timing import Times
from blankcam.workflows import make
from tests.conftest import DEMO_JOBS, EACH_DEMO_JOB, STEEL, demo_job
from tests.proved import unproven


@pytest.fixture(scope="module")
def made():
    found = design(job_file.load(str(STEEL)))
    profile = read_profile("light-router")
    return found, profile, cuts(found, profile)


def cuts(found, profile, names=("nut", "saddle")):
    return {name: unproven(found, name, profile, Stage.ROUGH) for name in names}


def made_slow(results):
    """The nut's program on edge as if it took ten minutes."""
    times = Times(cutting=0.0, air=0.0, changes=600.0)
    files = (
        dataclasses.replace(f, times=times) if f.name == "nut-edge-1.ngc" else f
        for f in results["nut"].programs
    )
    return {**results, "nut": dataclasses.replace(results["nut"], programs=tuple(files))}


def _mm_and_inches(mm, places):
    return f"{mm:.{places}f} ({mm / 25.4:.{places + 1}f})"


def section(text, name):
    return text[text.index(f"## {name}") :].split("\n## ")[0]


def test_every_program_tool_and_slot_is_named_in_order(made):
    found, profile, plans = made
    text = bench(found, profile, Stage.ROUGH, made_slow(plans))
    nut = section(text, "Nut")
    places = [nut.index(f"`{p.name}`") for p in plans["nut"].files]
    assert places == sorted(places)
    assert "`nut-edge-1.ngc`**, dry first, about 10 min" in nut
    order = ["Measure the blank", "Hold on face", "Zero (", "waste board", "Fit",
             "nut-face-air.ngc", "nut-face-1.ngc", "Free it", "Hold on edge", "jaw top",
             "nut-edge-air.ngc", "nut-edge-1.ngc", "nut-edge-2.ngc", "Before unclamping",
             "Slots"]  # fmt: skip
    at = 0
    for word in order:
        at = nut.index(word, at)
    fitted = None
    for program in plans["nut"].files:
        (tool,) = program.tools
        fit = next(s for s in nut.splitlines() if f"`{program.name}`" in s)
        if (program.setup, tool) != fitted:
            assert f"T{tool.number} {tool.shape} {tool.diameter:g} (" in fit
            assert "12.00 (0.472) out of the collet" in fit
            assert touch_words(program.program.zeros, _mm_and_inches) in fit
        fitted = (program.setup, tool)
    for slot in found.nut.slots:
        row = f"| {slot.string} {slot.note} | {slot.centre:.2f} ({slot.centre / 25.4:.3f}) |"
        assert row in nut
    assert text.index("SAFETY NOTICE") < text.index("## Nut") < text.index("## Saddle")
    assert "refit" in text[text.index("## Then") :]
    numbers = [int(m) for m in re.findall(r"^(\d+)\. ", nut, re.MULTILINE)]
    assert numbers == list(range(1, len(numbers) + 1))


@pytest.mark.long
def test_all_of_it_goes_on_a_wall(made):
    profile = made[1]
    for job in DEMO_JOBS:
        other = design(job_file.load(str(job)))
        drawn = cuts(other, profile)
        text = bench(other, profile, Stage.ROUGH, drawn)
        assert len(text.splitlines()) <= 60, job.stem
        # A part's own work on one sheet of A4: 10 pt with a fifth of leading is 4.23 mm a line, and
        # margins of 20 mm leave 257 by 170 mm: 60 lines of 95 letters, one tool a file and all
        for name in ("Nut", "Saddle"):
            lines = section(text, name).splitlines()
            assert sum(1 + len(line) // 95 for line in lines) <= 60


def test_slots_with_one_reason_share_a_line(made):
    found, profile, plans = made
    nut = section(bench(found, profile, Stage.ROUGH, plans), "Nut")
    said = re.findall(r"^- Slots? ([\d, ]+): (.*)$", nut, re.MULTILINE)
    named = [int(n) for numbers, _ in said for n in numbers.split(",")]
    assert sorted(named) == sorted(s.string for s in found.nut.slots)
    assert len({why for _, why in said}) == len(said) < len(named)
    for numbers, why in said:
        for n in numbers.split(","):
            choice = next(c for c in plans["nut"].slots if c.string == int(n))
            assert why[:12] == words(choice.reasons)[:12]
            assert not re.search(r"\d mm deep", why)


def test_hand_bench_has_no_programs(made):
    found, _, _ = made
    text = bench(found, read_profile("hand-bench"), Stage.ROUGH, {})
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
    text = bench(found, profile, Stage.ROUGH, {})
    said = table("notice")
    for line in (*said["material"]["bone"], *said["material"]["dust"], *said["person"]["breath"],
                 *said["machine"]["hand"], *said["last"]):  # fmt: skip
        assert line in text
    for line in notice("bone", str(profile.kind)):
        assert line in text


def test_a_milled_thickness_is_told(made):
    found, profile, _ = made
    job = dataclasses.replace(found.job, plan=dataclasses.replace(found.job.plan, thickness="mill"))
    thick = design(job)
    drawn = cuts(thick, profile, ("nut",))
    nut = section(bench(thick, profile, Stage.ROUGH, drawn), "Nut")
    assert "the program mills off 0.035 (0.0014)" in nut
    assert "Touch off on the waste board and set Z to -6.045." in nut
    assert "must now stand at Z 0.035" in nut
    fit = thick.nut.fit
    assert f"**Measure the thickness**: {fit.low:.3f}" in nut
    # On a bench without a mill the same job is rubbed
    nut = section(bench(thick, read_profile("hand-bench"), Stage.ROUGH, {}), "Nut")
    assert "rub off 0.035 (0.0014)" in nut


def test_a_mill_that_fetches_its_tools_is_loaded_once(made):
    found, _, _ = made
    profile = read_profile("bench-mill")
    drawn = cuts(found, profile, ("nut",))
    nut = section(bench(found, profile, Stage.ROUGH, drawn), "Nut")
    line = next(s for s in nut.splitlines() if "`nut-edge-air.ngc`" in s)
    tools = next(f.tools for f in drawn["nut"].programs if f.name == "nut-edge.ngc")
    numbers = [line.index(f"T{t.number} {t.shape} {t.diameter:g} (") for t in tools]
    assert numbers == sorted(numbers)
    assert "each length is in the controller's table" in line
    assert "set Z" not in line


@pytest.mark.parametrize(
    ("machine", "length"), [("bench-mill", ", its length in force"), ("light-router", "")]
)
def test_zero_is_set_with_a_tool_that_is_named(made, machine, length):
    """The tool that may touch X and Y; where none may, the set-up's first, and Z alone is its."""
    found, profile = made[0], read_profile(machine)
    drawn = cuts(found, profile)
    text = bench(found, profile, Stage.ROUGH, drawn)
    for name, result in drawn.items():
        for setup in ("face", "edge"):
            first = next(f for f in result.programs if f.setup == setup)
            touch = next(z.touch for z in first.program.zeros if z.axis == "X")
            head = f"Zero (`setup-{name}-{setup}.svg`), T{touch.number} fitted{length} ("
            assert text.count(head) == 1
            after = text[text.index(head) + len(head) :].split("\n")[0]
            ordered(after, "an edge finder goes in first", "Touch off", "set Z to", "Set X to",
                    f"with the side of T{touch.number}, its tip at Z", "Set Y")  # fmt: skip
    bare = tuple(
        dataclasses.replace(
            f,
            program=dataclasses.replace(
                f.program,
                zeros=tuple(dataclasses.replace(z, touch=None) for z in f.program.zeros),
            ),
        )
        for f in drawn["nut"].programs
    )
    alone = {"nut": dataclasses.replace(drawn["nut"], programs=bare, in_air=())}
    nut = section(bench(found, profile, Stage.ROUGH, alone), "Nut")
    for setup in ("face", "edge"):
        tool = next(f for f in bare if f.setup == setup).tools[0]
        assert f"Zero (`setup-nut-{setup}.svg`), T{tool.number} fitted{length} (" in nut


def test_numbers_to_set_at_a_machine_in_inches_are_inches(made):
    found, profile, _ = made
    inch = dataclasses.replace(
        profile, controller=dataclasses.replace(profile.controller, units="inch")
    )
    drawn = cuts(found, inch, ("nut",))
    nut = section(bench(found, inch, Stage.ROUGH, drawn), "Nut")
    assert "12.00 (0.472) out of the collet" in nut
    z = next(z for z in drawn["nut"].programs[0].program.zeros if z.axis == "Z")
    assert f"set Z to {z.value / 25.4:.5f} in ({z.value:.3f} mm)" in nut


def test_one_file_a_tool_is_fitted_and_run_one_after_the_other(made):
    found, profile, _ = made
    files = dataclasses.replace(
        profile,
        controller=dataclasses.replace(profile.controller, tool_change=ToolChange.FILE),
    )
    drawn = cuts(found, files, ("nut",))
    nut = section(bench(found, files, Stage.ROUGH, drawn), "Nut")
    cutting = drawn["nut"].programs
    assert all(len(f.tools) == 1 for f in cutting)
    for before, program in pairwise(cutting):
        between = nut[nut.index(f"`{before.name}`") : nut.index(f"`{program.name}`")]
        assert f"T{program.tools[0].number} {program.tools[0].shape}" in between
    assert nut.count("Hold on edge") == 1


@pytest.mark.parametrize("how", ["clamps", "fixture", "tape"])
def test_how_it_is_held_lying_down(made, how):
    found, profile, plans = made
    held = dataclasses.replace(plans["nut"].programs[0].program.holding, face=how)
    files = tuple(
        dataclasses.replace(f, program=dataclasses.replace(f.program, holding=held))
        for f in plans["nut"].programs
    )
    changed = dataclasses.replace(plans["nut"], programs=files, in_air=())
    nut = section(bench(found, profile, Stage.ROUGH, {"nut": changed}), "Nut")
    said = {"clamps": "a clamp at each end of the waste, reaching 5.00 (0.197) over it",
            "fixture": "between walls 3.00 (0.118) high", "tape": "on a waste board by tape"}  # fmt: skip
    assert said[how] in nut


def test_a_name_is_no_markup(made):
    found, profile, plans = made
    named = dataclasses.replace(found.job.instrument, name="<b>x</b>\n# y")
    job = dataclasses.replace(found.job, instrument=named)
    text = bench(dataclasses.replace(found, job=job), profile, Stage.ROUGH, plans)
    assert "<b>" not in text
    assert "\n# y" not in text


def test_the_feeds_explain_every_operation(made):
    _, _, plans = made
    programs = [f.program for f in plans["nut"].programs]
    rows = machine_work.operation_table([(p.stem, p) for p in programs]).records()
    assert len(rows) == sum(len(p.operations) for p in programs)
    assert all("depth: " in r["limits"] and "speed: " in r["limits"] for r in rows)


def ordered(text, *words):
    at = 0
    for word in words:
        at = text.index(word, at)


def demo(name):
    return design(job_file.load(str(demo_job(name))))


@pytest.mark.parametrize("path", EACH_DEMO_JOB)
def test_files_alone_do_the_whole_job_in_order(path):
    found = demo(path.stem)
    text = bench(found, read_profile("hand-bench"), Stage.ROUGH, {})
    nut, saddle = section(text, "Nut"), section(text, "Saddle")
    ordered(nut, "Measure the blank", "Square", "Mark out", "`sheet.pdf`", "To length", "**Top**",
            "allowance", "Carry the centres over", "**Slots**", "stays in their floors",
            "Edges", "Dry fit")  # fmt: skip
    ordered(saddle, "Measure the blank", "Square", "Mark out", "To length", "**Top**",
            "Ridge line", "Crown", "Edges", "Dry fit")  # fmt: skip
    assert ("**Ends**" in saddle) == (found.saddle.ends == "round")
    ordered(text, "String it up", "settle", "**Measure**", "**Refit**", "Polish")
    assert len(text.splitlines()) <= 80


def cells(text, start):
    row = next(line for line in text.splitlines() if line.startswith(start))
    return [float(c) for c in re.findall(r"\| (-?\d+\.\d+) \(", row)]


def test_the_top_line_to_file_to_is_the_arc_with_its_allowance(made):
    found, _, _ = made
    nut = section(bench(found, read_profile("hand-bench"), Stage.ROUGH, {}), "Nut")
    x, z = cells(nut, "| x |"), cells(nut, "| top line")
    assert (x[0], x[-1]) == (0.0, 44.45)
    # Of a circle through any three of its points (sagitta theorem): radius from chord and rise
    left, middle, right = (0, z[0]), (x[3], z[3]), (x[6], z[6])
    a, b, c = (
        ((p[0] - q[0]) ** 2 + (p[1] - q[1]) ** 2) ** 0.5
        for p, q in ((left, middle), (middle, right), (left, right))
    )
    twice = abs((middle[0] - left[0]) * (right[1] - left[1])
                - (right[0] - left[0]) * (middle[1] - left[1]))  # fmt: skip
    # heights are told to 0.01 mm and the arc rises 0.8 mm: some percent of its radius
    assert a * b * c / (2 * twice) == pytest.approx(306.5, rel=0.03)
    # 6.05 mm thick, 7 degrees: a right triangle
    assert "falls 7.0 deg toward the head: 0.74 (0.029) lower" in nut
    final = section(bench(found, read_profile("hand-bench"), Stage.FINAL, {}), "Nut")
    for rough, done in zip(z, cells(final, "| top line"), strict=True):
        assert rough - done == pytest.approx(1.0, abs=0.011)
    assert "allowance" not in final


def test_the_ridge_and_how_far_the_crown_falls(made):
    found, _, _ = made
    saddle = section(bench(found, read_profile("hand-bench"), Stage.ROUGH, {}), "Saddle")
    for seat in found.saddle.strings:
        x, z, off, near, far = cells(saddle, f"| {seat.string} {seat.note}")
        assert x == pytest.approx(seat.centre, abs=0.006)
        assert z == pytest.approx(seat.height + seat.residual + 0.5, abs=0.006)
        # a circle of 3 mm: (3 - fall)^2 + off^2 = 3^2
        assert (3 - near) ** 2 + off**2 == pytest.approx(9, abs=0.06)
        assert (3 - far) ** 2 + (found.saddle.thickness - off) ** 2 == pytest.approx(9, abs=0.06)


def test_which_file_and_how_deep_by_hand(made):
    found, _, _ = made
    nut = section(bench(found, read_profile("hand-bench"), Stage.ROUGH, {}), "Nut")
    # string 6: 0.053 in and 0.003 in over, so a file of 0.056; 0.65 + 1.00 - 0.20 deep at first
    assert "| 1.42 (0.056) | 6.41 (0.252) | file | 0.022, 0.056; 1.45 (0.057) |" in nut
    assert "the start file on the centre, falling 7.0 deg toward the head" in nut


@pytest.mark.parametrize(
    ("plan", "nut_said", "saddle_said"),
    [
        ({"outline": "saw"}, "saw the waste off at its ends, 3.77 (0.149) on the left", "rounded"),
        ({"outline": "saw", "ends": "hand"}, "file to 44.45 (1.750)", "full round all the way"),
        ({"slots": "file"}, "the start file on the centre", "below where the jaws stood"),
    ],
)
def test_what_a_mill_leaves_is_the_hands(made, plan, nut_said, saddle_said):
    found, profile, _ = made
    job = dataclasses.replace(found.job, plan=dataclasses.replace(found.job.plan, **plan))
    some = design(job)
    drawn = cuts(some, profile)
    text = bench(some, profile, Stage.ROUGH, drawn)
    nut, saddle = section(text, "Nut"), section(text, "Saddle")
    assert nut_said in nut
    assert saddle_said in saddle
    assert "file down to the line" not in text
    for part in (nut, saddle):
        assert part.index("**run `") < part.index("**Edges**")
        if plan.get("outline") == "saw":
            ordered(part, "**run `", "Before unclamping", "To length", "Dry fit")
            assert part.index("**Square**") < part.index("**run `")


def test_only_the_slots_left_to_the_file_are_filed(made):
    """The demo job's slots 2 and 1 are narrower than the machine's smallest tool."""
    found, profile, plans = made
    nut = section(bench(found, profile, Stage.ROUGH, plans), "Nut")
    (step,) = [line for line in nut.splitlines() if "start file" in line]
    assert "**File slots 2 and 1**" in step
    assert "0.20 (0.008) stays in every floor, also in the milled ones." in step
    milled = {i for i, c in enumerate(plans["nut"].decisions) if c.string in (2, 1)}
    kept = tuple(d for i, d in enumerate(plans["nut"].decisions) if i not in milled)
    without = dataclasses.replace(
        found, nut=dataclasses.replace(found.nut, slots=found.nut.slots[:4])
    )
    some = {**plans, "nut": dataclasses.replace(plans["nut"], decisions=kept)}
    nut = section(bench(without, profile, Stage.ROUGH, some), "Nut")
    assert "start file" not in nut
    assert "nothing to file yet; the mill has left 0.20 (0.008) in their floors" in nut
    hand = section(bench(found, read_profile("hand-bench"), Stage.ROUGH, {}), "Nut")
    assert "**Slots** as in the table: the start file" in hand


def test_a_slanted_slot_is_told_at_the_head_of_the_saddles_work():
    """Slanted by the job: the bass end further by front_at's difference over the strings' span."""
    found = demo("slanted-steel")
    text = bench(found, read_profile("hand-bench"), Stage.ROUGH, {})
    front, span = found.job.saddle.front_at, found.job.saddle.string_span
    angle = math.degrees(math.atan((front.bass - front.treble) / span))
    said = section(text, "Saddle").splitlines()[2]
    degrees = float(re.search(r"slanted (\d+\.\d) degrees, the bass end further", said)[1])
    assert degrees == pytest.approx(angle, abs=0.1)
    assert "slanted" not in bench(
        demo("concert-steel"), read_profile("hand-bench"), Stage.ROUGH, {}
    )


def test_a_lasers_templates_are_cut_first_and_used(made):
    found, _, _ = made
    profile = read_profile("template-laser")
    text = bench(found, profile, Stage.ROUGH, {})
    first = section(text, "Templates")
    assert text.index("## Templates") < text.index("## Nut")
    ordered(first, "never the blank", "test square", "0.200", "`nut.dxf`", "slot gauge",
            "radius 306.51", "`saddle.dxf`", "radius 596.02")  # fmt: skip
    nut_line, saddle_line = (
        next(s for s in first.splitlines() if f"**Cut `{p}.dxf`**" in s) for p in ("nut", "saddle")
    )
    assert "mark `MARK`, then cut `CUT`" in nut_line
    assert "mark `MARK`, then cut `CUT`" in saddle_line
    nut = section(text, "Nut")
    ordered(nut, "lay the nut template", "slot gauge", "notch", "hollow gauge", "**Slots**")
    assert "lay the saddle template" in section(text, "Saddle")
    assert "Templates" not in bench(found, read_profile("hand-bench"), Stage.ROUGH, {})


def test_every_layer_the_templates_name_is_in_the_drawing(made):
    found, _, _ = made
    profile = read_profile("template-laser")
    text = section(bench(found, profile, Stage.ROUGH, {}), "Templates")
    drawn = make.drawings(found, profile, Stage.ROUGH)[0]
    for part in ("nut", "saddle"):
        line = next(s for s in text.splitlines() if f"**Cut `{part}.dxf`**" in s)
        layers = set(re.findall(r"`([A-Z_]+)`", line))
        doc = ezdxf.read(io.StringIO(drawn[f"{part}.dxf"].decode()))
        assert layers
        assert layers <= {e.dxf.layer for e in doc.modelspace()}


def test_a_flat_board_is_tried_with_a_straightedge():
    found = demo("seven-string-classical")
    text = bench(found, read_profile("template-laser"), Stage.ROUGH, {})
    assert "a straightedge, held against the light" in section(text, "Saddle")
    assert "hollow gauge" not in section(text, "Saddle")


def given_to_the_hand(**plan):
    """The demo job with its plan changed, and its parts planned on the bench mill."""
    loaded = job_file.load(str(STEEL))
    found = design(dataclasses.replace(loaded, plan=dataclasses.replace(loaded.plan, **plan)))
    profile = read_profile("bench-mill")
    return bench(found, profile, Stage.ROUGH, cuts(found, profile))


def test_a_crown_given_to_the_hand_is_filed_after_the_machine_is_done():
    saddle = section(given_to_the_hand(outline="mill", crown="hand"), "Saddle")
    at = 0
    for word in ("saddle-face.ngc", "Free it", "Mark out", "Top", "Ridge line", "Crown",
                 "top line over the seat side"):  # fmt: skip
        at = saddle.index(word, at)
    assert "To length" not in saddle  # the outline is cut to it


def test_a_top_given_to_the_hand_has_its_measures_and_its_slots_are_marked():
    text = given_to_the_hand(outline="saw", top="hand", slots="file")
    nut = section(text, "Nut")
    rough = design(job_file.load(str(STEEL))).nut
    assert f"at the highest {rough.height + rough.allowance:.2f} (" in nut
    assert "nut-edge.ngc" not in nut or nut.index("nut-edge.ngc") < nut.index("**Top**")
    for word in ("**Mark out**", "**To length**", "**Top**", "falls 7.0 deg"):
        assert word in nut


def test_a_flat_tools_steps_are_taken_off_by_hand_and_no_lower():
    found = design(job_file.load(str(STEEL)))
    mill = read_profile("bench-mill")
    flats = dataclasses.replace(mill, tools=tuple(t for t in mill.tools if str(t.shape) == "flat"))
    made = cuts(found, flats, ("nut",))
    nut = section(bench(found, flats, Stage.ROUGH, made), "Nut")
    (top,) = (d for d in made["nut"].decisions if str(d.feature.kind) == "top")
    assert 0.0 < top.by.ridge <= 0.05
    off = next(line for line in nut.splitlines() if "**Steps off**" in line)
    assert f"up to {top.by.ridge:.2f} (" in off
    assert "the radius block" in off
    assert f"{found.nut.height + found.nut.allowance:.2f} (" in off


@pytest.mark.parametrize(("stem", "left_out"), [("nut-alone", "saddle"), ("concert-steel", "nut")])
def test_templates_of_one_part_name_no_file_of_the_other(stem, left_out):
    job = job_file.load(str(demo_job(stem)))
    job = dataclasses.replace(job, blanks=dataclasses.replace(job.blanks, **{left_out: None}))
    found = design(job)
    text = bench(found, read_profile("template-laser"), Stage.ROUGH, {})
    (part,) = found.parts
    named = set(re.findall(r"`([a-z-]+\.dxf)`", text))
    assert named == {f"{part.name}.dxf", f"{part.name}-cut.dxf"}
