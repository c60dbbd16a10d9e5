"""Damage to what the operator acts on is caught by the right finding: jobs, refits and a load.

Of every case the undamaged programs pass, so that no finding is raised on a good one.
"""

import pytest

from blankcam.replay.codes import Code
from blankcam.workflows.stated import stated_differences
from tests.conftest import DEMO_JOBS, first_then_long
from tests.faults.operated import OPERATED
from tests.faults.stated import IN_A_LOAD, STATED
from tests.faults.workshop import MACHINES, REFITS, case, load_case, load_today, refit_case

JOBS = range(len(DEMO_JOBS))
SHARE = [(case, (0, "bench-mill", "nut")), (case, (0, "light-router", "clamped nut")),
         (refit_case, (0, "light-router", "nut-refit with its top"))]  # fmt: skip
EACH_JOB = [
    (case, (job, MACHINES[(job + at) % 2], kind))
    for job in JOBS
    for at, kind in enumerate(("nut", "outlined saddle"))
]
"""A nut and a saddle of every job, one on each mill, the other way round for the next job."""
TURN_BY_TURN = [
    *((case, (job, MACHINES[job % 2], "clamped nut")) for job in JOBS),
    *(
        (refit_case, (job, MACHINES[(job + job // 4) % 2], list(REFITS)[job % len(REFITS)]))
        for job in JOBS
    ),
]
"""A blank under clamps and a refit of every job, the mills and the kinds of refit in turn."""


def ids(cases):
    return [pytest.param(made, which, id="-".join(map(str, which))) for made, which in cases]


def is_of(name, setups):
    return "face" in setups if "-face" in name else "edge" in setups


FOUND_BEFORE = {Code.CHIP: Code.SPEED, Code.STOP_PLACE: Code.REST_PLACE}
"""What the reader finds before any replay: a speed outside the machine's range, or a change of tool
away from the profile's place for it."""


def right(code):
    return {code, FOUND_BEFORE.get(code, code)}


def caught(made, fault):
    """How many of the case's programs have something of the kind; each must be caught."""
    damage, code, setups = OPERATED[fault]
    tried = 0
    for name in made.names():
        lines = made.text(name).split("\n")
        bad = damage(lines, made) if is_of(name, setups) else None
        if bad is not None:
            assert bad != lines
            tried += 1
            assert right(code) & made.codes(name, "\n".join(bad)), (name, code)
    return tried


@pytest.mark.parametrize(
    ("made", "which"),
    [
        *ids(SHARE[:1]),
        *(pytest.param(*p.values, marks=pytest.mark.long, id=p.id) for p in ids(SHARE[1:])),
    ],
)
@pytest.mark.parametrize("fault", sorted(OPERATED))
def test_what_the_operator_acts_on_is_judged(made, which, fault):
    if not caught(made(*which), fault):
        pytest.skip("nothing of the kind in these programs")


@pytest.mark.long
@pytest.mark.parametrize(("made", "which", "fault"), [
    pytest.param(made, which, fault, id="-".join(map(str, (fault, *which))))
    for at, (made, which) in enumerate(EACH_JOB + TURN_BY_TURN)
    for turn, fault in enumerate(sorted(OPERATED))
    if (at + turn) % 3 == 0
])  # fmt: skip
def test_in_every_job(made, which, fault):
    """Every third kind of damage in turn."""
    if not caught(made(*which), fault):
        pytest.skip("nothing of the kind in these programs")


@pytest.mark.parametrize(("made", "which"), first_then_long(
    [*SHARE, *((refit_case, (7, "bench-mill", "nut-refit")),
               (refit_case, (6, "light-router", "saddle-refit"))), *TURN_BY_TURN], 3))  # fmt: skip
def test_the_undamaged_programs_pass(made, which):
    """Among them two that would cut too deep at the end of a blank, or beyond its last row."""
    assert [str(f) for f in made(*which).proof().faults] == []


@pytest.mark.parametrize(("made", "which"), ids(SHARE) + [
    pytest.param(made, which, marks=pytest.mark.long, id="-".join(map(str, which)))
    for made, which in EACH_JOB + TURN_BY_TURN
])  # fmt: skip
def test_what_a_program_states_is_compared_with_today(made, which):
    """By each of its statements; the programs as they are state what would be written today."""
    tried = set()
    for name, text, _ in made(*which).texts:
        assert not list(stated_differences(text.encode(), text))
        for fault, (damage, code) in STATED.items():
            if (bad := damage(text)) is not None:
                tried.add(fault)
                found = stated_differences(bad.encode(), text)
                assert {d.code for d in found} == {code}, (name, fault)
    assert {"z_is_touched_a_millimetre_off", "the_stock_is_six_millimetres_shorter",
            "another_tool_in_the_header", "another_machine", "another_material"} <= tried  # fmt: skip


LOADS = [("bench-mill", "nut"), ("light-router", "saddle")]
AT_ITS_PLACE = {"a_slanted_plunge", "a_steep_arc_at_full_feed", "a_tab_cut_through"}
"""Damage that harms the blank alone in whose place it is done."""


@pytest.mark.parametrize(("machine", "part"), first_then_long(LOADS))
def test_the_undamaged_load_passes_at_each_place(machine, part):
    load = load_case(machine, part)
    for name in load.names():
        assert load.codes(name, load.text(name)) == {1: set(), 2: set()}


@pytest.mark.parametrize(("machine", "part", "fault"), [
    *((*LOADS[0], fault) for fault in sorted(AT_ITS_PLACE)),
    *(pytest.param(*LOADS[1], fault, marks=pytest.mark.long) for fault in sorted(OPERATED)),
])  # fmt: skip
def test_damage_at_the_second_place_of_a_load(machine, part, fault):
    """Found at that place; in the first, where the damage harms nothing there, nothing is."""
    damage, code, setups = OPERATED[fault]
    load, tried = load_case(machine, part), 0
    for name in load.names():
        bad = load.damaged(name, damage, 2) if is_of(name, setups) else None
        if bad is None:
            continue
        tried += 1
        found = load.codes(name, bad)
        if fault in AT_ITS_PLACE:
            # A feed that no axis can go is the machine's fault, wherever it is cut
            assert (found[1] - {Code.FEED}, code in found[2]) == (set(), True)
        else:
            assert right(code) & (found[1] | found[2]), name
    if not tried:
        pytest.skip("nothing of the kind in these programs")


STATED_BY_A_LOAD = {**STATED, **IN_A_LOAD}


@pytest.mark.parametrize("fault", [
    pytest.param(fault, marks=() if fault in list(IN_A_LOAD)[::3] else pytest.mark.long)
    for fault in STATED_BY_A_LOAD
])  # fmt: skip
def test_what_a_load_states_is_compared_with_today(fault):
    """Whole statements by value: where its places are, whose they are, its stock,
    tools, holding.
    """
    damage, code = STATED_BY_A_LOAD[fault]
    load = load_case("light-router", "nut")
    texts = (bad for file in load.load.files if (bad := damage(file.text)) is not None)
    if (bad := next(texts, None)) is None:
        pytest.skip("nothing of the kind in these programs")
    assert {d.code for d in load_today(load, bad).wrong} == {code}
