"""Programs in the air, damaged: lower, faster, with the spindle on, or without their way up."""

import re

import pytest

from tests.conftest import first_then_long
from tests.faults.planted import FAULTS, clearance_of, cuts, has, indices, right
from tests.faults.workshop import MACHINES, case

CASES = [(0, machine, kind) for machine in MACHINES for kind in ("nut", "saddle")]


def lowered(by):
    def damage(lines):
        high = clearance_of(lines)
        return [
            re.sub(rf"Z{high:g}(?![\d.])", f"Z{high - by:g}", s) if has(s, "G0") else s
            for s in lines
        ]

    return damage


def near_the_stock(lines):
    """4.5 mm over what its header says stands, which is up to 0.3 mm over the part as cut."""
    head = " ".join(s.strip("()") for s in lines if s.startswith("("))
    top = float(re.search(r"stock .*? z \S+ mm to (\S+) mm", head)[1])
    return lowered(clearance_of(lines) - top - 4.5)(lines)


def one_stop_low(lines):
    """Down to the blank and up again where the maker is to look."""
    at = indices(lines, "M0")[-1]
    high = clearance_of(lines)
    return [*lines[:at], "G0 Z1", lines[at], f"G0 Z{high:g}", *lines[at + 1 :]]


def spindle_on(lines):
    at = indices(lines, "M5")[0]
    return [*lines[:at], "S9000 M3", *lines[at + 1 :]]


def at_feed(lines):
    at = indices(lines, "G0", "X")[-1]
    return [*lines[:at], re.sub("G0", "G1", lines[at]) + " F100", *lines[at + 1 :]]


def not_stopped_first(lines):
    """Before its first move: the last program may have left the spindle on."""
    at = indices(lines, "M5")[0]
    return [*lines[:at], *lines[at + 1 :]]


DAMAGE = {
    "lowered by a blank": (lowered(10.0), {"M22", "M13"}),
    "under five millimetres": (near_the_stock, {"M22"}),
    "one stop low": (one_stop_low, {"M22"}),
    "the spindle on": (spindle_on, {"M22"}),
    "the spindle not stopped": (not_stopped_first, {"M22"}),
    "a move at feed": (at_feed, {"M22"}),
    **{name: (FAULTS[name], right(name)) for name in FAULTS if "way_up" in name or "park" in name},
}


@pytest.mark.parametrize(("job", "machine", "kind"), first_then_long(CASES, 2))
def test_undamaged_they_pass_and_cut_nothing(job, machine, kind):
    made = case(job, machine, kind)
    assert made.names_in_air()
    for name in made.names_in_air():
        lines = made.text(name).split("\n")
        assert not any(cuts(s) or has(s, "M3") for s in lines)
        assert not made.codes(name, made.text(name))


@pytest.mark.parametrize(("job", "machine", "kind"), first_then_long(CASES))
@pytest.mark.parametrize("damage", DAMAGE)
def test_a_damaged_program_in_the_air_is_refused(job, machine, kind, damage):
    made, (harm, wanted) = case(job, machine, kind), DAMAGE[damage]
    for name in made.names_in_air():
        lines = made.text(name).rstrip("\n").split("\n")
        bad = harm(lines)
        if bad is None:
            pytest.skip("nothing of the kind in this program")
        assert bad != lines
        assert made.codes(name, "\n".join([*bad, ""])) & wanted
