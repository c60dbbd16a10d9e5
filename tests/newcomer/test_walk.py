"""Bench and refit lists walked by someone who has one alone: every kind of machine.

``walk`` does what the list says on a machine made up of numbers; what it checks comes from the
program's text and from how machines count, not from blankcam.
"""

import shutil

import pytest

from blankcam.inputs import job_file
from blankcam.inputs.machine_file import parse_profile
from blankcam.outputs.drawings.setup_card import cards
from blankcam.outputs.papers.bench_list import bench
from blankcam.parts.design import design
from blankcam.parts.stage import Stage
from blankcam.workflows.request import requests_of
from tests.conftest import ALL_DEMO_JOBS, STEEL
from tests.installed import run
from tests.newcomer.programs_read import StuckError
from tests.newcomer.walk import Walk
from tests.newcomer.walked_machines import MACHINES, damaged_copy
from tests.once import write_part

BY_HAND = ("hand-bench", "template-laser")
FIRST = ("mill", "hand-bench")
CASES = [
    pytest.param(job, name, id=f"{job.stem}, {name}",
                 marks=() if job == STEEL and name in FIRST else pytest.mark.long)
    for at, job in enumerate(ALL_DEMO_JOBS)
    for by, name in enumerate((*MACHINES, *BY_HAND))
    if job == STEEL or (at + by) % 2 == 0
]  # fmt: skip
"""The one job for every machine, the others for every second one in turn."""


def made(job, name, folder):
    """Everything ``make`` writes of a job for a machine."""
    machine = name
    if name in MACHINES:
        machine = folder / "machine.toml"
        machine.write_text(MACHINES[name], encoding="utf-8")
    done = run("make", job, "--machine", machine, "--out", folder / "out")
    assert done.returncode == 0, done.stderr
    return folder / "out"


def list_and_programs(job, name, folder):
    """The bench list, programs and cards that ``make`` would write, not proven: other tests do.

    The sheet and drawings that the list names are there by name alone.
    """
    found, profile = design(job_file.load(str(job))), parse_profile(MACHINES[name], name)
    parts = [write_part(r) for r in requests_of(found, profile, Stage.ROUGH)]
    drawn = [cards(p, bass_left=not found.job.left_handed) for p in parts]
    files = {
        name: data for each in (*(p.texts for p in parts), *drawn) for name, data in each.items()
    }
    named = {p.request.part.name: p for p in parts}
    files["bench.md"] = bench(found, profile, Stage.ROUGH, named).encode()
    files |= dict.fromkeys(("sheet.pdf", *(f"{part}.dxf" for part in named)), b"")
    for file, data in files.items():
        (folder / file).write_bytes(data)
    return folder


@pytest.fixture(scope="module")
def folders(tmp_path_factory):
    kept = {}

    def folder_for(name):
        if name not in kept:
            kept[name] = made(STEEL, name, tmp_path_factory.mktemp("walked"))
        return kept[name]

    return folder_for


@pytest.mark.parametrize(("job", "name"), CASES)
def test_the_list_alone_is_enough(job, name, folders, tmp_path):
    if job == STEEL:
        folder = folders(name)
    else:
        folder = (list_and_programs if name in MACHINES else made)(job, name, tmp_path)
    for finder in (True, False):
        walk = Walk(folder, finder=finder).done()
        assert bool(walk.ran) == (name in MACHINES)
        assert walk.set_numbers >= 3 * bool(walk.ran)


# ---- planted faults ------------------------------------------------------------------------------


PLANTED = {
    "X is never set": (
        "mill", [("bench.md", r"Set X to -3\.775 .*?likewise\.", "")], "X, Y not zeroed"),
    "a set-up is not zeroed anew": (
        "router", [("bench.md", r"Set X to minus half.*?fingerboard side\.", "")],
        "X, Y not zeroed since the work was moved"),
    "a Z that is another tool's": (
        "router", [("bench.md", r", each time touch off on the jaw top and set Z to 4\.80 \(0\.189\)", "")],
        "nut-edge-2.ngc: T6 comes to another place: Z"),
    "a stop without a touch": (
        "stops", [("bench.md", r"(collet\)), touch off on the jaw top and set Z to 4\.80 \(0\.189\)", r"\1")],
        "nut-edge.ngc: T6 comes to another place: Z"),
    "a stop that the list does not tell of": (
        "stops", [("bench.md", r"; at each of its stops .*?then resume", "")], "asks for T6"),
    "lengths that nobody put in": (
        "mill", [("bench.md", r"; see that each length is in the controller's table", "")],
        "counts on the length of T7"),
    "a length that is not in force": (
        "mill", [("bench.md", r", its length in force", "")], "T1 comes to another place: Z"),
    "Z left as the probe found it": (
        "mill with a probe", [("bench.md", r"; then, T\d fitted.*?\)\.", ".")],
        "T1 comes to another place: Z"),
    "a tool that the file does not ask for": (
        "router", [("bench.md", r"T6 ball 1 \(0\.039\)", "T5 ball 0.8 (0.031)")], "asks for T6"),
    "a tool of another size": (
        "router", [("bench.md", r"T6 ball 1 \(0\.039\)", "T6 ball 1.2 (0.047)")], "T6 is"),
    "a tool too far out": (
        "router", [("bench.md", r"T2 ball 3 \(0\.118\), 12\.00 \(0\.472\)", "T2 ball 3 (0.118), 15.00 (0.591)")],
        "T2 is"),
    "no air program first": (
        "mill", [("bench.md", r"\*\*run `nut-edge-air\.ngc`\*\*.*?zero again; ", "")],
        "before the air program"),
    "the air program last": (
        "mill", [("bench.md", r"(\*\*run `nut-face-air\.ngc`\*\*.*?zero again); (\*\*run.*?min)", r"\2; \1")],
        "before the air program"),
    "a file of another set-up": (
        "mill", [("bench.md", r"`nut-edge\.ngc`", "`nut-face.ngc`")], "run twice|another set-up"),
    "a file that is not there": (
        "mill", [("bench.md", r"`nut-edge\.ngc`", "`nut-edge-9.ngc`")], "not there"),
    "a file left out": (
        "router", [("bench.md", r"; T4 ball 0\.6 .*?about \d+ min", "")], "never run: nut-edge-3.ngc"),
    "a number of its own": (
        "router", [("bench.md", r"set Z to -6\.045 \(-0\.2380\)", "set Z to -6.054 (-0.2383)")],
        "nut-face-1.ngc says"),
    "two numbers for one length": (
        "router", [("bench.md", r"set Z to 4\.80 \(0\.189\)", "set Z to 4.80 (0.198)")], "two lengths"),
    "a number that is wrong everywhere": (
        "mill", [("bench.md", r"set Z to 4\.80", "set Z to 4.40"),
                 ("nut-edge*.ngc", r"set Z to 4\.80", "set Z to 4.40")],
        "T2 comes to another place: Z"),
    "half the tool forgotten": (
        "mill", [("bench.md", r"-1\.600", "-0.100"), ("nut-edge*.ngc", r"-1\.600", "-0.100"),
                 ("nut-face*.ngc", r"-1\.600", "-0.100")],
        "T1 comes to another place: Y"),
    "a surface that is cut away": (
        "router", [("bench.md", r"the left end as cut", "the left end of the blank"),
                   ("*-edge*.ngc", r"the left end as cut", "the left end of the blank")],
        "the left end of the blank is to be touched, and is cut away"),
    "the top, once it is cut": (
        "router", [("bench.md", r"on the jaw top and set Z to 4\.80 \(0\.189\): T6",
                    "on the top of the blank and set Z to 4.80 (0.189): T6")],
        "cut away"),
    "an end that is not cut yet": (
        "router", [("bench.md", r"the left end of the blank", "the left end as cut"),
                   ("*-face*.ngc", r"the left end\)\n\(of the blank", "the left end)\n(as cut")],
        "is not cut yet"),
    "jaws where there are walls": (
        "fixture", [("bench.md", r"walls up to", "jaws up to")], "holding has none"),
    "jaws of another height": (
        "mill", [("bench.md", r"jaws up to 4\.80 \(0\.189\)", "jaws up to 5.80 (0.228)")], "jaws up to"),
    "the wrong side toward you": (
        "mill", [("bench.md", r"; the fingerboard side toward you", "; the head side toward you")],
        "away from you"),
    "millimetres on a machine in inches": (
        "stops in inches", [("bench.md", r"set Z to 0\.1890 in\. ", "set Z to 4.80. ")], "in inches"),
    "a dry run that would cut": (
        "mill", [("bench.md", r"Z set 12\.00 \(0\.472\) lower(.*?): -18\.045", r"Z set 2.00 (0.079) lower\1: -8.045")],
        "dry run of nut-face.ngc would go into the blank"),
    "a dry run without a number": (
        "router", [("bench.md", r"\*\*Dry first\*\*.*?cut\.\n", "\n")], "dry run, and no number"),
    "a height that is not told": (
        "mill", [("bench.md", r"; the height over the seat side should be .*? at the highest", "")],
        "names no number"),
}  # fmt: skip


def on_the_mill_first(planted):
    """Each fault: those in other papers than the mill's in the long tier, for those
    must be made.
    """
    return [
        pytest.param(fault, marks=() if "mill" in planted[fault][:-2] else pytest.mark.long)
        for fault in planted
    ]


@pytest.mark.parametrize("fault", on_the_mill_first(PLANTED))
def test_a_fault_in_the_list_stops_the_walk(folders, tmp_path, fault):
    name, edits, words = PLANTED[fault]
    folder = damaged_copy(folders(name), tmp_path / "out", edits)
    with pytest.raises(StuckError, match=words):
        Walk(folder, finder=fault != "half the tool forgotten").done()


# ---- refits --------------------------------------------------------------------------------------

# Invented readings: strings that lie too high, in one case so that a straight trim suits them all.
STRAIGHT = """[readings]
first_fret = { bass = "0.77 mm", treble = "0.62 mm" }
action = { bass = "2.65 mm", treble = "2.15 mm" }
settled = "36 h"
uncertainty = "0.03 mm"
"""
UNEVEN = """[readings]
first_fret = { 6 = "0.77 mm", 5 = "0.74 mm", 4 = "0.71 mm", 3 = "0.68 mm", 2 = "0.65 mm", 1 = "0.62 mm" }
action = { 6 = "2.95 mm", 5 = "2.55 mm", 4 = "2.65 mm", 3 = "2.25 mm", 2 = "2.35 mm", 1 = "2.15 mm" }
settled = "36 h"
uncertainty = "0.03 mm"
"""
CLASSICAL = """[readings]
first_fret = { bass = "1.02 mm", treble = "0.82 mm" }
action = { bass = "4.40 mm", treble = "3.40 mm" }
settled = "36 h"
uncertainty = "0.03 mm"
"""
REFITS = {
    "straight": (STEEL, STRAIGHT),
    "uneven": (STEEL, UNEVEN),
    "left-handed": (STEEL.with_name("left-classical.toml"), CLASSICAL),
}
REFIT_CASES = [
    pytest.param(refit, name, id=f"{refit}, {name}")
    for at, refit in enumerate(REFITS)
    for by, name in enumerate((*MACHINES, "hand-bench"))
    if name != "clamps" and (refit == "straight" or (at + by) % 2 == 0)
]  # fmt: skip
"""One refit on every machine, the others on every second one in turn."""


def refitted(refit, name, folder):
    """Everything ``refit`` writes of readings for a machine."""
    job, readings = REFITS[refit]
    machine = name
    if name in MACHINES:
        machine = folder / "machine.toml"
        machine.write_text(MACHINES[name], encoding="utf-8")
    (folder / "readings.toml").write_text(readings, encoding="utf-8")
    shutil.copy(job, folder / "job.toml")
    done = run("refit", folder / "job.toml", folder / "readings.toml", "--machine", machine,
               "--out", folder / "out")  # fmt: skip
    assert done.returncode == 0, done.stderr
    return folder / "out"


@pytest.fixture(scope="module")
def refits(tmp_path_factory):
    kept = {}

    def folder_for(refit, name):
        if (refit, name) not in kept:
            kept[refit, name] = refitted(refit, name, tmp_path_factory.mktemp("refitted"))
        return kept[refit, name]

    return folder_for


@pytest.mark.long
@pytest.mark.parametrize(("refit", "name"), REFIT_CASES)
def test_the_refit_list_alone_is_enough(refit, name, refits):
    folder = refits(refit, name)
    for finder in (True, False):
        walk = Walk(folder, paper="refit.md", finder=finder).done()
        assert bool(walk.ran) == (name in MACHINES)
        assert walk.set_numbers >= 3 * bool(walk.ran)


REFIT_PLANTED = {
    "X is never set": (
        "straight", "mill", [("refit.md", r"Set X to minus .*?likewise against the nut side\.", "")],
        "X, Y not zeroed"),
    "the saddle is not zeroed anew": (
        "straight", "mill", [("refit.md", r"(crown down.*?Zero \(`.*?`\), .*?:) .*", r"\1")],
        "says nothing|not zeroed since the work was moved"),
    "not turned over": (
        "straight", "mill", [("refit.md", r"vice, crown down", "vice, seat side down")], "crown down"),
    "the wrong side toward you": (
        "straight", "mill", [("refit.md", r"; the nut side toward you", "; the tail side toward you")],
        "away from you"),
    "the drawing of the other part": (
        "straight", "mill", [("refit.md", r"`setup-saddle-bottom\.svg`", "`setup-nut-refit.svg`")],
        "no drawing of how the saddle is held"),
    "no air program first": (
        "straight", "mill", [("refit.md", r"\*\*run `saddle-bottom-air\.ngc`\*\*.*?zero again; ", "")],
        "before the air program"),
    "a Z that is another tool's": (
        "uneven", "router", [("refit.md", r"(same way\*\*[^:]*?), each time touch off .*?\)(?=:)", r"\1")],
        "comes to another place: Z"),
    "a file left out": (
        "uneven", "router", [("refit.md", r"\d\. \*\*In the same way\*\*[^\n]*saddle-refit-2[^\n]*", "")],
        "never run: saddle-refit-2.ngc"),
    "a box that is wider than the part": (
        "straight", "mill", [("nut-refit*.ngc", r"stock x 0\.00 mm", "stock x -1.00 mm")],
        "comes to another place: X"),
    "no number for a dry run": (
        "straight", "mill", [("refit.md", r"\*\*Dry first\*\*.*?cut\.\n", "\n")],
        "dry run, and no number"),
}  # fmt: skip


@pytest.mark.long
@pytest.mark.parametrize("fault", REFIT_PLANTED)
def test_a_fault_in_the_refit_list_stops_the_walk(refits, tmp_path, fault):
    refit, name, edits, words = REFIT_PLANTED[fault]
    folder = damaged_copy(refits(refit, name), tmp_path / "out", edits)
    with pytest.raises(StuckError, match=words):
        Walk(folder, paper="refit.md").done()
