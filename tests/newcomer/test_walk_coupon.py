"""A test piece's list walked by someone who has it alone, and stopped by what is wrong in it."""

import pytest

from tests.installed import run
from tests.newcomer.programs_read import StuckError
from tests.newcomer.walk_coupon import CouponWalk
from tests.newcomer.walked_machines import MACHINES, damaged_copy

FEW = ("--tools", "1,2,9,3")
"""A short piece, for the faults."""


def cut(name, folder, *tools):
    """Everything ``coupon`` writes for a machine."""
    machine = folder / "machine.toml"
    machine.write_text(MACHINES[name], encoding="utf-8")
    done = run("coupon", "--machine", machine, "--out", folder / "out", *tools)
    assert done.returncode == 0, done.stderr
    return folder / "out"


@pytest.fixture(scope="module")
def folders(tmp_path_factory):
    kept = {}

    def folder_for(name):
        if name not in kept:
            kept[name] = cut(name, tmp_path_factory.mktemp("piece"), *FEW)
        return kept[name]

    return folder_for


def walked(folder):
    walk = CouponWalk(folder).done()
    assert walk.ran[0] == "coupon-air.ngc"
    assert len(walk.ran) == len(list(folder.glob("*.ngc"))) >= 2
    assert walk.set_numbers >= 3


@pytest.mark.long
def test_the_list_of_a_short_piece_is_enough(folders):
    walked(folders("router"))


@pytest.mark.long
@pytest.mark.parametrize("name", MACHINES)
def test_the_list_alone_is_enough(name, tmp_path):
    walked(cut(name, tmp_path))


PAPER = "coupon.md"
PLANTED = {
    "a piece that is too short": (
        "router", [(PAPER, r"58\.0 \(2\.28\) long", "48.0 (1.89) long")], "along X"),
    "a piece that is too thin": (
        "router", [(PAPER, r"at least 8\.0 \(0\.31\) thick", "at least 6.0 (0.24) thick")], "along Z"),
    "jaws too high": (
        "router", [(PAPER, r"jaws at most 4\.0 \(0\.16\)", "jaws at most 6.0 (0.24)")], "jaws at most 6"),
    "jaws in the tools' way": (
        "router", [(PAPER, r"at most 4\.0 \(0\.16\)", "at most 7.5 (0.30)"),
                   (PAPER, r"at least 4\.0 \(0\.16\) of it", "at least 0.5 (0.02) of it"),
                   ("*.ngc", r"jaws at most 4 mm", "jaws at most 7.5 mm")], "down to the jaws"),
    "the wrong edge toward you": (
        "router", [(PAPER, r", its front edge toward you", "")], "which edge is toward you"),
    "a mark on a land": (
        "router", [(PAPER, r"29 \(1\.1\) from the left end and 19 \(0\.7\)", "6 (0.2) from the left end and 5 (0.2)")],
        "cuts where every tool is touched off"),
    "no mark at all": (
        "router", [(PAPER, r"\d\. \*\*Mark\*\*[^\n]*", "3. **Mark** the top with a pencil.")], "where the mark is"),
    "X is never set": (
        "router", [(PAPER, r"Set X to minus half.*?front edge\.", "")], "never zeroed"),
    "from any side": (
        "router", [(PAPER, r" with rising coordinates", "")], "from which side"),
    "a Z that is another tool's": (
        "router", [(PAPER, r", each time touch off on its top at the mark and set Z to 8\.00 \(0\.315\)", "")],
        "coupon-2.ngc: T2 comes to another place: Z"),
    "a stop without a touch": (
        "stops", [(PAPER, r"(collet\)), touch off on its top at the mark and set Z to 8\.00 \(0\.315\)", r"\1")],
        "T2 comes to another place: Z"),
    "lengths that nobody put in": (
        "mill", [(PAPER, r"; see that each length is in the controller's table", "")], "counts on the length of T2"),
    "a length that is not in force": (
        "mill", [(PAPER, r", its length in force", "")], "T1 comes to another place: Z"),
    "a number of its own": (
        "router", [(PAPER, r"set Z to 8\.00\. ", "set Z to 7.00. ")], "Z 7 mm; coupon-1.ngc says 8 mm"),
    "a tool that the file does not ask for": (
        "router", [(PAPER, r"T9 ball 2 \(0\.079\)", "T8 ball 1.5 (0.059)")], "asks for T9"),
    "a tool too far out": (
        "router", [(PAPER, r"T1 flat 3 \(0\.118\), 12\.00 \(0\.472\)", "T1 flat 3 (0.118), 15.00 (0.591)")], "T1 is"),
    "a file left out": (
        "router", [(PAPER, r"; T3 ball 0\.5 .*?about \d+ min", "")], "cut nothing|never run: coupon-4.ngc"),
    "no air program first": (
        "router", [(PAPER, r"\*\*run `coupon-air\.ngc`\*\*.*?zero again; ", "")], "before the air program"),
    "a dry run that would cut": (
        "router", [(PAPER, r"Z set 8\.00 \(0\.315\) lower(.*?): 0\.00", r"Z set 0.50 (0.020) lower\1: 7.50")],
        "go into the blank"),
    "no dry run": (
        "router", [(PAPER, r"\d\. \*\*Dry first\*\*[^\n]*\n", "")], "dry run, and no number"),
    "millimetres on a machine in inches": (
        "mill in inches", [(PAPER, r"set Z to 0\.3150 in\. ", "set Z to 8.00. ")], "in inches"),
    "a hand under the spindle": (
        "router", [(PAPER, r" once the spindle stands still", "")], "turning spindle"),
    "never taken out": (
        "router", [(PAPER, r"\d\. \*\*Take it out\*\*[^\n]*", "")], "never taken out"),
    "a row that the file has not": (
        "router", [(PAPER, r"`lands\.T3`", "`lands.T33`")], "differ: .*lands.T33"),
    "a line that the table has not": (
        "router", [(PAPER, r"\| `steps\.B` [^\n]*\n", "")], "differ: .*steps.B"),
    "drawn otherwise": (
        "router", [(PAPER, r"3\.80 \(0\.150\)", "3.70 (0.146)")], "lands.T3: 3.7; coupon.toml 3.80"),
    "measured elsewhere": (
        "router", [(PAPER, r"to the step of T3, tool 3", "to the step of T9, tool 3")], "steps.T3: the table says"),
    "read too seldom": (
        "router", [("coupon.toml", r'# thickness = \[" mm", ', "# thickness = [")], "piece.thickness is read 3"),
    "no word of the file": (
        "router", [(PAPER, r"--measured coupon\.toml", "")], "what becomes of coupon.toml"),
}  # fmt: skip


FIRST = (
    "a mark on a land",
    "a Z that is another tool's",
    "no dry run",
    "a row that the file has not",
)


@pytest.mark.parametrize(
    "fault", [pytest.param(f, marks=() if f in FIRST else pytest.mark.long) for f in PLANTED]
)
def test_a_fault_in_the_list_stops_the_walk(folders, tmp_path, fault):
    name, edits, words = PLANTED[fault]
    folder = damaged_copy(folders(name), tmp_path / "out", edits)
    with pytest.raises(StuckError, match=words):
        CouponWalk(folder).done()
