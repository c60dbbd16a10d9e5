"""Stops, changes, dwells and the spindle's time to come up, on a plain bench."""

import dataclasses

import pytest

from blankcam.replay.codes import Code
from tests.replay.bench import MILL, edge_program, prove_edge

GOOD = edge_program()
HIGH = "G0 Z13.0000"


def findings(text, **more):
    return {f.code: f for f in reversed(prove_edge(text, **more).faults)}


def with_lines(text, after, *lines, which=0):
    """The text with lines put in after one that begins so."""
    rows = text.split("\n")
    at = [i for i, row in enumerate(rows) if row.startswith(after)][which] + 1
    return "\n".join([*rows[:at], *lines, *rows[at:]])


def test_the_good_program_has_its_dwells_and_stops_in_the_right_places():
    assert not findings(GOOD)


@pytest.mark.parametrize("which", [0, 1], ids=["first start", "after the change"])
def test_a_start_without_its_dwell(which):
    """The profile's spin_up; Table 8 of NISTIR 6556: the dwell comes before the motion."""
    rows = GOOD.split("\n")
    at = [i for i, row in enumerate(rows) if row.startswith("G4 ")][which]
    found = findings("\n".join(rows[:at] + rows[at + 1 :]))
    assert set(found) == {Code.SPIN_UP}
    assert found[Code.SPIN_UP].value == 0.0
    assert found[Code.SPIN_UP].limit == 3.0
    assert found[Code.SPIN_UP].text.startswith("G1")


@pytest.mark.parametrize(("dwell", "good"), [("G4 P2.995", False), ("G4 P3", True),
                                             ("G4 P1\nG4 P2", True)])  # fmt: skip
def test_the_dwell_has_its_length(dwell, good):
    assert (findings(GOOD.replace("G4 P3", dwell)) == {}) is good


def test_a_dwell_before_the_start_or_after_the_first_cut_does_not_count():
    before = GOOD.replace("S8000 M3\nG4 P3", "G4 P3\nS8000 M3")
    assert set(findings(before)) == {Code.SPIN_UP}
    after = GOOD.replace("S8000 M3\nG4 P3", "S8000 M3", 1)
    rows = with_lines(after, HIGH, "G4 P3", which=1)
    assert set(findings(rows)) == {Code.SPIN_UP}


def test_of_two_starts_before_a_cut_the_last_one_has_its_dwell():
    again = with_lines(GOOD.replace("G4 P3\n", "", 1), "G0 Z9.0000", "M5", "S8000 M3", "G4 P3")
    assert findings(again) == {}


def test_a_new_speed_needs_its_time_too():
    """Clear of the stock, but the spindle is still slow when the cut begins."""
    slow = GOOD.replace("S8000 M3\nG4 P3", "S1000 M3\nG4 P3\nS8000", 1)
    assert set(findings(slow)) == {Code.SPIN_UP}
    assert findings(slow.replace("S8000", "S8000\nG4 P3", 1)) == {}
    assert findings(slow.replace("S1000", "S8000")) == {}  # the same speed said again


def test_a_spindle_that_needs_no_time_needs_no_dwell():
    quick = dataclasses.replace(MILL, spin_up=0.0)
    assert not findings(GOOD.replace("G4 P3\n", ""), profile=quick)


IN_SLOT = "G1 Y6.5000"


@pytest.mark.parametrize(
    "lines",
    [
        ["G4 P5"],
        ["M5", "S9000 M3", "G4 P3"],
        ["S8500", "G4 P3"],
    ],
    ids=["dwell", "spindle stopped and started", "another speed"],
)
def test_dwells_and_the_spindle_in_the_cut(lines):
    found = findings(with_lines(GOOD, IN_SLOT, *lines))
    assert set(found) == {Code.IN_CUT}
    assert found[Code.IN_CUT].text == lines[0]
    assert found[Code.IN_CUT].limit == 0.0
    assert found[Code.IN_CUT].value == pytest.approx(
        8.0 - (6.6 + 0.4 + 0.5 * (1 / 0.992546 - 1) - 0.122785 * 6.5), abs=2e-3
    )  # the blank's top less the tip on the slot's line, tan and cos of 7 degrees


@pytest.mark.parametrize("line", [IN_SLOT, "G0 X3.0000 Y-1.5000"], ids=["in the slot", "over"])
def test_a_stop_where_the_tool_is(line):
    """M0 with the spindle stopped, in the slot and at its place but high above it."""
    rest = ["M5", "M0", "S9000 M3", "G4 P3"]
    found = findings(with_lines(GOOD, line, *rest))
    stops = {Code.STOP_PLACE, Code.IN_CUT} if line == IN_SLOT else set()
    assert set(found) == stops


@pytest.mark.parametrize(("below", "good"), [(0.001, False), (-0.001, True)])
def test_a_dwell_a_micrometre_below_the_top_is_in_the_cut(below, good):
    found = findings(with_lines(GOOD, IN_SLOT, f"G1 Z{8 - below:.4f}", "G4 P1"))
    assert (Code.IN_CUT not in found) is good


def test_the_end_and_a_stop_beside_the_blank_are_clear_where_the_holder_is():
    """Low beside the jaws, which reach 20 mm to either side of a blank 5 mm thick."""
    for y, good in ((25 + 8.5, True), (25 + 7.5, False)):
        end = f"{HIGH}\nG0 Y{y}\nG0 Z2\nM5\nM9\nM30\n"
        found = findings(GOOD.replace("M5\nM9\nM30\n", end))
        assert (found == {}) is good
        if not good:
            assert Code.STOP_PLACE in found
