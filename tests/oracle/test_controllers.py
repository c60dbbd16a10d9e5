"""Every pair of a controller's abilities, over the workshop's jobs: proven, and read by a real one.

A covering array of strength 2 (every two values of any two abilities meet in some row), made
greedily; that it covers them all is a test of its own. Whole combinations are drawn besides:
``BLANKCAM_ABILITIES`` of them, each for another job and machine; with ``all`` for it every
combination is written for every job, which takes hours.
"""

import dataclasses
import os
import random
import re
from functools import cache
from itertools import combinations, product

import numpy as np
import pytest

from blankcam.inputs import job_file
from blankcam.inputs.machine import Controller, PlanPosition, Safe, ToolChange
from blankcam.parts.design import design
from blankcam.parts.stage import Stage
from blankcam.replay import reader
from blankcam.toolpath.moves import ArcMove
from blankcam.workflows.request import machine_of
from tests.conftest import DEMO_JOBS
from tests.oracle import interpreter
from tests.oracle.test_interpreter import CLOSE, compare
from tests.proved import files_of, plan_of, proved

pytestmark = [pytest.mark.oracle, pytest.mark.long]
ABILITIES = {
    "tool_change": list(ToolChange),
    "machine_coordinates": [False, True],
    "arc_planes": [(), ("G17", "G19"), ("G17", "G18", "G19")],
    "line_length": [40, 79, 200],
    "coolant": ["none", "mist", "flood"],
    "units": ["mm", "inch"],
    "comments": ["brackets", "semicolon"],
    "line_numbers": [False, True],
    "length_offsets": [False, True],
    "path_blending": [False, True],
    "percent": [False, True],
    "stage": list(Stage),
    "part": ["nut", "saddle"],
}


def allowed(row):
    """A profile that stops for its tools is refused with length offsets (tests/machine).

    So is one without coordinates of its own, for want of a place to change them, and one that
    changes tools by itself without their lengths.
    """
    if row.get("tool_change") is ToolChange.AUTOMATIC:
        return row.get("length_offsets") is not False
    return row.get("tool_change") is not ToolChange.STOP or not (
        row.get("length_offsets") or row.get("machine_coordinates") is False
    )


def pairs_of(row):
    return {frozenset(p) for p in combinations(row.items(), 2)}


def wanted_pairs():
    found = set()
    for a, b in combinations(ABILITIES, 2):
        found |= {frozenset(((a, v), (b, w))) for v, w in product(ABILITIES[a], ABILITIES[b])
                  if allowed({a: v, b: w})}  # fmt: skip
    return found


def covering():
    """Rows: each begins at a pair not yet covered, then takes the values that cover most."""
    left, rows = wanted_pairs(), []
    while left:
        row = dict(min(left, key=lambda p: sorted(map(str, p))))
        for name, values in ABILITIES.items():
            if name not in row:
                fits = [v for v in values if allowed(row | {name: v})]
                row[name] = max(fits, key=lambda v: len(pairs_of(row | {name: v}) & left))
        left -= pairs_of(row)
        rows.append(row)
    return rows


ROWS = covering()


@cache
def job_of(at):
    return job_file.load(str(DEMO_JOBS[at % len(DEMO_JOBS)]))


@cache
def made(at):
    """One row's part, machine, plan and texts."""
    return made_of(ROWS[at], at)


def made_of(row, at):
    """A row's part, machine, plan and texts for one of the jobs, on one of the mills."""
    job = job_of(at)
    found = design(job)
    machine = ("bench-mill", "light-router")[at % 2]
    abilities = {k: v for k, v in row.items() if k not in ("stage", "part")}
    abilities["arc_planes"] = frozenset(row["arc_planes"])
    profile = machine_of(job, machine)
    safe = Safe(change=PlanPosition(x=20.0, y=15.0)) if row["machine_coordinates"] else profile.safe
    profile = dataclasses.replace(profile, controller=Controller(**abilities), safe=safe)
    part = getattr(found, row["part"])
    plan = plan_of(found, part, profile, row["stage"])
    return found, part, profile, plan, files_of(found, plan, profile)


def test_every_two_abilities_meet_and_every_job_is_there():
    assert wanted_pairs() <= set().union(*(pairs_of(r) for r in ROWS))
    assert all(allowed(r) for r in ROWS)
    assert len(ROWS) >= len(DEMO_JOBS)


@pytest.mark.parametrize("at", range(len(ROWS)))
def test_each_is_proven(at):
    found, part, profile, plan, written = made(at)
    proof = proved(found, part, profile, ROWS[at]["stage"], plan, written)
    assert proof.passed, [str(f) for f in proof.faults]
    assert all(p.as_written for p in proof.programs)


@pytest.mark.parametrize("at", range(len(ROWS)))
def test_each_has_what_its_controller_knows_and_no_more(at):
    _, _, _, plan, written = made(at)
    known_and_no_more(ROWS[at], plan, written)


def known_and_no_more(row, plan, written):
    for program, w in zip((*plan.programs, *plan.in_air), written, strict=True):
        lines = w.text.splitlines()
        code = [s for line in lines if (s := re.sub(r"\(.*\)|;.*", "", line).strip())]
        words = " ".join(re.findall(r"[A-Z%]-?[\d.]*", "\n".join(code)))
        assert max(map(len, lines)) <= row["line_length"]
        assert (code[0] == code[-1] == "%") is row["percent"]
        assert ("G20" in words, "G21" in words) == (row["units"] == "inch", row["units"] == "mm")
        assert ("G43" in words) is row["length_offsets"]
        assert ("G64" in words) is row["path_blending"]
        assert (" M6" in words) is (row["tool_change"] is ToolChange.AUTOMATIC)
        stops = row["tool_change"] is ToolChange.STOP and len(program.tools) > 1
        looks = program.air or not row["machine_coordinates"]
        assert bool(re.search(r"\bM0\b", words)) is (stops or looks)
        assert ("G53" in words) is row["machine_coordinates"]
        assert bool(re.search(r"\bN\d", words)) is row["line_numbers"]
        assert ("(" in w.text, ";" in w.text) == (
            row["comments"] == "brackets", row["comments"] == "semicolon")  # fmt: skip
        assert (" M7" in words, " M8" in words) == (
            row["coolant"] == "mist" and not program.air,
            row["coolant"] == "flood" and not program.air)  # fmt: skip
        assert {m.plane for o in program.operations for m in o.moves if isinstance(m, ArcMove)} <= {
            *row["arc_planes"]
        }
        assert bool(re.search(r"\bG[23]\b", words)) <= bool(row["arc_planes"])
        places = 5 if row["units"] == "inch" else 4
        assert not re.search(rf"[XYZIJK]-?\d+\.\d{{{places + 1}}}", "\n".join(code))


def drawn(seed):
    """Some combination of values of all abilities at once."""
    draw = random.Random(seed)
    while True:
        row = {name: draw.choice(values) for name, values in ABILITIES.items()}
        if allowed(row):
            return row


WANTED = os.environ.get("BLANKCAM_ABILITIES", "7")


@pytest.mark.parametrize("seed", range(7 if WANTED == "all" else int(WANTED)))
def test_any_combination_is_proven_and_read(seed, tmp_path):
    row = drawn(seed)
    found, part, profile, plan, written = made_of(row, seed)
    proof = proved(found, part, profile, row["stage"], plan, written)
    assert proof.passed, [str(f) for f in proof.faults]
    assert all(p.as_written for p in proof.programs)
    if interpreter.command():
        walked(profile, plan, written, tmp_path)


OF_A_CONTROLLER = [name for name in ABILITIES if name not in ("stage", "part")]
EVERY = [
    row
    for values in product(*(ABILITIES[name] for name in OF_A_CONTROLLER))
    if allowed(row := dict(zip(OF_A_CONTROLLER, values, strict=True)))
]
MOVING = ("arc_planes", "units", "tool_change", "path_blending", "machine_coordinates")
"""What moves depend on; the other abilities change words around them."""


@pytest.mark.skipif(WANTED != "all", reason="takes hours: BLANKCAM_ABILITIES=all")
@pytest.mark.parametrize("part", ABILITIES["part"])
@pytest.mark.parametrize("at", range(len(DEMO_JOBS)))
def test_every_combination_is_proven_and_read(at, part, tmp_path):
    """Each is written and read back; those whose moves are the same are proven once.

    One stage on the one mill, the other stage on the other.
    """
    proven = {}
    for row in (each | {"stage": list(Stage)[at % 2], "part": part} for each in EVERY):
        key = tuple(row[name] for name in MOVING)
        found, made_part, profile, plan, written = (
            made_of(row, at) if key not in proven else rewritten(row, proven[key])
        )
        known_and_no_more(row, plan, written)
        texts = [
            reader.read_program(w.text, profile, name=w.name, air=w.program.air) for w in written
        ]
        assert not [str(f) for text in texts for f in text.findings]
        if key not in proven:
            proof = proved(found, made_part, profile, row["stage"], plan, written)
            assert proof.passed, [str(f) for f in proof.faults]
            proven[key] = (found, made_part, profile, plan, [t.moves for t in texts])
        for text, moves in zip(texts, proven[key][-1], strict=True):
            assert all(
                np.array_equal(getattr(text.moves, f.name), getattr(moves, f.name), equal_nan=True)
                for f in dataclasses.fields(moves)
                if f.name != "line"
            )
        if interpreter.command():
            walked(profile, plan, written, tmp_path)


def rewritten(row, proven):
    """A proven plan written for a controller of which only words around the moves differ."""
    found, part, profile, plan, _ = proven
    same = {k: row[k] for k in OF_A_CONTROLLER if k != "arc_planes"}
    other = dataclasses.replace(profile, controller=dataclasses.replace(profile.controller, **same))
    return found, part, other, plan, files_of(found, plan, other)


@pytest.mark.oracle
@pytest.mark.parametrize("at", range(len(ROWS)))
def test_a_real_interpreter_walks_the_intended_path(at, tmp_path):
    interpreter.require()
    _, _, profile, plan, written = made(at)
    walked(profile, plan, written, tmp_path)


def walked(profile, plan, written, folder):
    """In inches its listing has four decimals, 2.54 um: half of that is added to the bound."""
    close = CLOSE + (0.00127 if profile.controller.units == "inch" else 0.0)
    for program, w in zip((*plan.programs, *plan.in_air), written, strict=True):
        heard = interpreter.ask(w.text, profile.tools, folder)
        assert heard.accepted, heard.complaint
        assert "PROGRAM_END" in {name for name, _ in heard.calls[-3:]}
        compare(heard, program, close, profile.safe_places.height)
