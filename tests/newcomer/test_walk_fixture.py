"""A fixture's list walked by someone who has it alone, and stopped by what is wrong in it."""

import shutil
from concurrent.futures import ThreadPoolExecutor

import pytest

from blankcam.inputs import job_file
from blankcam.parts.stage import Stage
from blankcam.workflows import fixture
from tests.conftest import ALL_DEMO_JOBS, STEEL
from tests.installed import run
from tests.newcomer.programs_read import StuckError
from tests.newcomer.walk_fixture import FixtureWalk
from tests.newcomer.walked_machines import MACHINES, damaged_copy

OTHER = STEEL.with_name("left-classical.toml")
PLACES = "2 x 60 mm"


def loaded(name, jobs, folder):
    """The loads of some jobs on a machine, as ``batch --fixture`` writes them; jobs not made."""
    machine = folder / "machine.toml"
    machine.write_text(MACHINES[name], encoding="utf-8")
    whole, said = fixture.load_up(
        [(job.stem, job_file.load(str(job))) for job in jobs], str(folder), str(machine),
        Stage.ROUGH, fixture.fixture_of(PLACES), pool=lambda: ThreadPoolExecutor(1),
    )  # fmt: skip
    assert whole, said
    return folder / fixture.FOLDER


@pytest.fixture(scope="module")
def folders(tmp_path_factory):
    kept = {}

    def folder_for(name):
        if name not in kept:
            place = tmp_path_factory.mktemp("loaded")
            kept[name] = loaded(name, (STEEL, OTHER), place)
        return kept[name]

    return folder_for


def walked(folder):
    for finder in (True, False):
        walk = FixtureWalk(folder, finder=finder).done()
        assert len(walk.ran) == len(list(folder.glob("*.ngc"))) >= 6
        assert walk.set_numbers >= 3 * 2


@pytest.mark.long
@pytest.mark.parametrize("name", [n for n in MACHINES if n != "clamps"])
def test_the_list_alone_is_enough(folders, name):
    walked(folders(name))


@pytest.mark.long
@pytest.mark.parametrize("name", ["mill", "router"])
def test_the_list_of_every_demo_job_is_enough(tmp_path, name):
    walked(loaded(name, ALL_DEMO_JOBS, tmp_path))


@pytest.mark.long
def test_the_list_that_the_command_writes_is_enough(tmp_path):
    jobs = tmp_path / "jobs"
    jobs.mkdir()
    for job in (STEEL, OTHER):
        shutil.copy(job, jobs)
    done = run("batch", jobs, "--out", tmp_path / "out", "--machine", "light-router",
               "--fixture", PLACES)  # fmt: skip
    assert done.returncode == 0, done.stderr
    walked(tmp_path / "out" / "fixture")
    for job in (STEEL, OTHER):  # what the list sends the maker back to
        bench = (tmp_path / "out" / job.stem / "bench.md").read_text(encoding="utf-8")
        assert bench.index("Rub to thickness") < bench.index("**Hold") < bench.rindex("**run")


PAPER = "fixture.md"
PLANTED = {
    "the stop stays": (
        "router", [(PAPER, r"; take it away once the blanks are held[^.]*", "")], "stop in the tools' way"),
    "blanks of the wrong thickness": (
        "router", [(PAPER, r" \(measuring, rubbing to thickness\)", ""),
                   (PAPER, r" before its first \*\*Hold\*\*", "")], "rubbed down"),
    "two places swapped": (
        "router", [(PAPER, r"`concert-steel`", "`other`"), (PAPER, r"`left-classical`", "`concert-steel`"),
                   (PAPER, r"`other`", "`left-classical`")], "place 1 has left-classical"),
    "a place left empty": (
        "router", [(PAPER, r"\*\*, places 1 and 2:", "**, place 1:")], r"fills places \[1\]"),
    "a place that no row names": (
        "router", [(PAPER, r"\| 2 \| [^\n]*\n", "")], "in place 2, and the table none"),
    "another pitch": (
        "router", [(PAPER, r"60\.000 \(2\.3622\)", "50.000 (1.9685)")], "place 2 is at Y 50"),
    "a blank of another size": (
        "router", [(PAPER, r"55\.00 x 9\.50", "65.00 x 9.50")], "reach to X 65"),
    "no place along X": (
        "router", [(PAPER, r"left ends at the stop; ", "")], "where the blanks go along X"),
    "the wrong side up on edge": (
        "router", [(PAPER, r"the side seen from the bridge toward you, [^.]*", "the head side toward you")],
        "the side seen from the bridge toward you"),
    "a name for another side": (
        "router", [(PAPER, r"toward you, the tail side", "toward you, the nut side")], "the tail side"),
    "walls of another height": (
        "router", [(PAPER, r"walls up to 4\.50 \(0\.177\)", "walls up to 5.50 (0.217)")], "walls up to"),
    "X is never set": (
        "router", [(PAPER, r"Set X to minus half.*?seat side of the first blank\.", "")], "Y is zeroed"),
    "a set-up is not zeroed anew": (
        "router", [(PAPER, r"Zero, T\d fitted[^\n]*seen from the bridge\.", "")], "how the set-up is zeroed"),
    "a Z that is another tool's": (
        "router", [(PAPER, r", each time touch off on the top of the walls and set Z to [\d.]+ \([\d.]+\)", "")],
        "T6 comes to another place: Z"),
    "a tool that the file does not ask for": (
        "router", [(PAPER, r"T6 ball 1 \(0\.039\)", "T5 ball 0.8 (0.031)")], "asks for T6"),
    "a file left out": (
        "router", [(PAPER, r"; T4 ball 0\.6 .*?about \d+ min", "")], "never run: load-1-nut-edge-4.ngc"),
    "the other load's file": (
        "router", [(PAPER, r"`load-1-nut-face-1\.ngc`", "`load-2-saddle-face-1.ngc`")], "another set-up"),
    "no air program first": (
        "router", [(PAPER, r"\*\*run `load-1-nut-edge-air\.ngc`\*\*.*?zero again; ", "")],
        "before the air program"),
    "a dry run that would cut": (
        "router", [(PAPER, r"Z set 12\.00 \(0\.472\) lower(.*?): -12\.00", r"Z set 2.00 (0.079) lower\1: -2.00")],
        "go into the blank"),
    "the number of another dry run": (
        "router", [(PAPER, r": -4\.50 for 4\.50", ": -4.00 for 5.00")], "the number given is 4.5"),
    "no dry run for a set-up": (
        "router", [(PAPER, r"\d+\. \*\*Dry first\*\*[^\n]*-4\.50 for 4\.50[^\n]*\n", "")],
        "dry run, and no number"),
    "parts that hang in their waste": (
        "router", [(PAPER, r"\*\*Free them\*\* \(place 1, 2\)", "**Free them** (place 1)")],
        r"place \[2\] still hangs"),
    "a height that is not told": (
        "router", [(PAPER, r"; at the highest, over the seat side: [^\n]*", ".")], "names no number"),
    "a number that is wrong everywhere": (
        "router", [(PAPER, r"set Z to 4\.50 \(0\.177\)", "set Z to 4.30 (0.169)"),
                   (PAPER, r"set Z to 4\.50", "set Z to 4.30"), (PAPER, r"-4\.50 for 4\.50", "-4.70 for 4.30"),
                   ("load-1-nut-edge*.ngc", r"set Z to 4\.50", "set Z to 4.30")],
        "T2 comes to another place: Z"),
    "a place that is wrong everywhere": (
        "router", [("load-1-nut-edge*.ngc", r"y 0\.00 mm", "y 1.00 mm")], "T2 comes to another place: Y"),
    "lengths that nobody put in": (
        "mill", [(PAPER, r"; see that each length is in the controller's table", "")], "counts on the length"),
    "a stop without a touch": (
        "stops", [(PAPER, r"(collet\)), touch off on the top of the walls and set Z to [\d.]+ \([\d.]+\)", r"\1")],
        "T6 comes to another place: Z"),
    "millimetres on a machine in inches": (
        "stops in inches", [(PAPER, r"set Z to 0\.1772 in\. ", "set Z to 4.50. ")], "in inches"),
}  # fmt: skip


@pytest.mark.long
@pytest.mark.parametrize("fault", PLANTED)
def test_a_fault_in_the_list_stops_the_walk(folders, tmp_path, fault):
    name, edits, words = PLANTED[fault]
    folder = damaged_copy(folders(name), tmp_path / "out", edits)
    with pytest.raises(StuckError, match=words):
        FixtureWalk(folder).done()
