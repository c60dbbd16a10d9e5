"""The verdict on a plain nut cut by a program written by hand (bench.py)."""

import random
import re
import time
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blankcam.digest import of_program
from blankcam.parts.stage import Stage
from blankcam.replay.codes import Code
from tests.replay.bench import HOLDING, MILL, NUT, STOCK, Nut, edge_program, prove_edge

GOOD = edge_program()


def codes(proof):
    return {f.code for f in proof.faults}


def test_a_good_program_passes_and_says_how_well():
    proof = prove_edge(GOOD)
    assert proof.passed, [str(f) for f in proof.faults]
    assert proof.gouge_um < 1
    assert proof.left_um < 6  # cusp of 0.25 mm passes with R 1.5: 5.23 µm by hand
    assert [s.string for s in proof.slots] == [1, 2]
    for slot in proof.slots:
        assert abs(slot.floor_um) < 0.2
        assert abs(slot.centre_um) < 0.6
        assert abs(slot.width_um) < 1.0
    assert proof.record()["passed"] is True
    assert proof.programs[0].as_written is None


def test_cells_of_the_default_size():
    proof = prove_edge(GOOD, step=None)
    assert proof.passed
    assert len(proof.field.x) == 800
    assert len(proof.field.y) == 250


def test_the_rough_stage_keeps_its_hold_back():
    assert prove_edge(edge_program(0.2), stage=Stage.ROUGH).passed
    assert Code.LEFT in codes(prove_edge(edge_program(0.2)))
    assert {Code.GOUGE, Code.FLOOR} <= codes(prove_edge(GOOD, stage=Stage.ROUGH))


def test_slots_left_to_the_file_are_not_judged():
    text = GOOD[: GOOD.index("G0 X9.0000")] + "M5\nM30\n"
    assert prove_edge(text, milled=frozenset({1})).passed
    assert {Code.LEFT, Code.FLOOR} <= codes(prove_edge(text))


def test_the_depth_of_cut_is_held_to_the_material_table():
    """Cortical bone 0.25 D, brass 0.10 D (data/materials.toml): the 1 mm ball
    takes up to 0.4 mm of a groove at once, more than either; a larger claim does not help."""
    for material, claimed in (("bone", {2: 9.0}), ("brass", {}), ("moon rock", {})):
        proof = prove_edge(GOOD, material=material, depth=claimed)
        deep = [f for f in proof.faults if f.code is Code.DEPTH]
        limits = {"bone": 0.25, "brass": 0.10, "moon rock": 0.10}
        assert {f.limit for f in deep if "Y6.5" in f.text} == {limits[material]}
    assert not [f for f in prove_edge(GOOD).faults if f.code is Code.DEPTH]


@pytest.mark.parametrize(("off", "good"), [(0.004, True), (0.006, False)])
def test_centres_are_resolved_to_a_micrometre(off, good):
    proof = prove_edge(GOOD.replace("X3.0000", f"X{3 + off:.4f}"), step=0.02)
    assert proof.slots[0].centre_um == pytest.approx(1000 * off, abs=0.6)
    assert proof.passed is good
    assert good or Code.CENTRE in codes(proof)


def shifted(text, off):
    """The second groove's every height moved by ``off``."""
    at = text.index("G0 X9.0000")
    head, tail = text[:at], text[at:]
    return head + re.sub(r"(G1 .*?)Z(-?[\d.]+)", lambda m: f"{m[1]}Z{float(m[2]) + off:.4f}", tail)


@pytest.mark.parametrize(("off", "good"), [(0.009, True), (0.011, False), (-0.011, False)])
def test_floors_are_held_to_ten_micrometres_above_and_gouge_below(off, good):
    proof = prove_edge(shifted(GOOD, off))
    assert proof.slots[1].floor_um == pytest.approx(1000 * off, abs=0.3)
    assert proof.passed is good
    assert good or Code.FLOOR in codes(proof)


def test_a_finding_says_where_and_how_far():
    proof = prove_edge(shifted(GOOD, -0.05))
    gouge = next(f for f in proof.faults if f.code is Code.GOUGE)
    assert gouge.value == pytest.approx(0.05, abs=0.002)
    assert gouge.at[0] == pytest.approx(9.0, abs=0.5)
    assert "Y6.5" in gouge.text
    assert GOOD.split("\n")[gouge.line - 1].startswith("G1 Y6.5")
    assert "at x 9." in str(gouge) or "at x 8." in str(gouge)


def test_a_wider_slot_is_seen():
    wide = Nut(slots=tuple(replace(s, width=1.03) for s in NUT.slots))
    proof = prove_edge(GOOD, part=wide)
    assert proof.slots[0].width_um == pytest.approx(-30, abs=1)
    assert Code.WIDTH in codes(proof)


def test_jaws_and_bed_are_solid():
    high = replace(MILL, holding=replace(HOLDING, jaw_top=6.5))
    assert Code.JAWS in codes(prove_edge(GOOD, profile=high))
    assert prove_edge(GOOD, profile=high, holding=HOLDING).passed
    deep = GOOD.replace("M5\nM9\nM30", "G0 X-6 Y2\nG1 Z-11 F50\nG0 Z13\nM5\nM30")
    assert Code.BED in codes(prove_edge(deep))


def test_travel_is_of_the_machine():
    small = replace(MILL, travel=replace(MILL.travel, x=15.0))
    proof = prove_edge(GOOD, profile=small)
    assert Code.TRAVEL in codes(proof)
    assert proof.outside_travel > 0


def test_limits_given_by_tool():
    into = GOOD.replace("G0 X3.0000 Y-1.5000", "G0 X3.0000 Y2.0000", 1)
    assert Code.PLUNGE in codes(prove_edge(into, plunge={2: 50.0}))
    assert Code.PLUNGE not in codes(prove_edge(into, plunge={2: 100.0}))
    assert prove_edge(GOOD, plunge={2: 50.0, 3: 50.0}).passed  # the same moves down in air
    proof = prove_edge(GOOD, depth={2: 0.3})
    assert Code.DEPTH in codes(proof)
    deep = next(f for f in proof.faults if f.code is Code.DEPTH)
    assert deep.value > 0.3


def test_the_signature_tells_an_edited_program():
    signed = GOOD.replace(
        "(a plain nut, on edge)",
        f"(moves digest {of_program(GOOD)})\n(job digest 0123456789abcdef)",
    )
    proof = prove_edge(signed).programs[0]
    assert proof.as_written is True
    assert proof.job_digests == ("0123456789abcdef",)
    edited = signed.replace("X3.0000", "X3.0001")
    assert prove_edge(edited).programs[0].as_written is False


def test_what_is_left_is_not_judged_before_all_programs_ran():
    text = GOOD[: GOOD.index("G0 X9.0000")] + "M5\nM30\n"
    assert prove_edge(text, whole=False).passed


def test_stock_too_high_is_left_standing():
    proof = prove_edge(GOOD, stock=replace(STOCK, z1=14.0))
    assert {Code.CLEARANCE, Code.RAPID, Code.RUBBING} <= codes(proof)


FAR = "".join(f"G1 X{'-' if i % 2 else ''}99999 Y{i} Z-50 F500\n" for i in range(150))
CIRCLES = "".join(
    f"G3 X{5000 - 10000 * (i % 2)} Y{0.1 * (i % 2)} R-9000 Z{7 - i % 2}\n" for i in range(60)
)


@pytest.mark.parametrize("text", [FAR, CIRCLES], ids=["lines", "helices"])
def test_moves_over_hundreds_of_metres_are_soon_faulted(text):
    """Only what comes near the blank and the jaws is looked at closely."""
    before = time.process_time()
    proof = prove_edge(GOOD.replace("M5\nM9\nM30", text + "M5\nM9\nM30"))
    assert {Code.TRAVEL, Code.BED} & codes(proof)
    assert time.process_time() - before < 10  # one second here


def test_jaws_are_found_on_a_long_way_past_them():
    """Lines that come from afar, cross one jaw 2 mm deep and go on."""
    past = "G0 X-500 Y-10\nG1 Z1.5 F100\nX500 F300\nG0 Z13\n"
    proof = prove_edge(GOOD.replace("M5\nM9\nM30", past + "M5\nM9\nM30"))
    hits = [f for f in proof.faults if f.code is Code.JAWS]
    assert [f.text for f in hits] == ["X500 F300"]
    assert hits[0].value == pytest.approx(2.0, abs=1e-4)
    over = past.replace("Z1.5", "Z3.6")
    fine = prove_edge(GOOD.replace("M5\nM9\nM30", over + "M5\nM9\nM30"))
    assert Code.JAWS not in codes(fine)


@pytest.mark.property
@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_reformatting_proves_the_same(seed):
    """Spaces, case, line numbers and comments are no words: NISTIR 6556 §3.3."""
    text = reformatted(GOOD, random.Random(seed))
    assert of_program(text) == of_program(GOOD)
    first, second = prove_edge(GOOD), prove_edge(text)
    assert second.passed
    assert (second.gouge_um, second.left_um) == (first.gouge_um, first.left_um)


def reformatted(program, chance):
    """The same words, written otherwise."""
    lines = []
    for line in program.rstrip().split("\n"):
        words = line
        if "(" not in words:
            words = re.sub(r"([A-Z])", lambda m: " " * chance.randint(0, 2) + m[1], words)
            words = words.lower() if chance.random() < 0.5 else words
            if chance.random() < 0.3:
                words = f"N{chance.randint(0, 99999)} {words}"
        if chance.random() < 0.2 and not words.upper().lstrip().startswith("M0"):
            words += "(so)"  # at a stop it would be read by the operator
        lines += [words] + [""] * chance.randint(0, 1)
    return "\n".join(lines)


@pytest.mark.property
@settings(max_examples=60, deadline=None)
@given(st.data())
def test_random_damage_never_passes_while_gouging(data):
    """Whatever is done to a program: if it passes, the part is whole by an own look at it.

    A slot may lie 5 um aside (the design's limit for centres), which at a steep flank is far more
    than that in depth; so the part is looked at as if moved as far aside, either way. Of all 15,769
    damages that this test can do, 8 pass with a slot 2 to 5 um aside and no other gouges.
    """
    lines = GOOD.rstrip().split("\n")
    at = data.draw(st.integers(0, len(lines) - 1))
    line = lines[at]
    kind = data.draw(st.sampled_from(["drop", "swap", "digit", "sign", "twice"]))
    if kind == "drop":
        del lines[at]
    elif kind == "swap" and at:
        lines[at - 1 : at + 1] = [lines[at], lines[at - 1]]
    elif kind == "twice":
        lines.insert(at, line)
    elif kind == "digit" and (places := [i for i, c in enumerate(line) if c.isdigit()]):
        i = data.draw(st.sampled_from(places))
        lines[at] = line[:i] + data.draw(st.sampled_from("0123456789")) + line[i + 1 :]
    elif kind == "sign":
        lines[at] = re.sub(r"([XYZIJK])(\d)", r"\1-\2", line, count=1)
    proof = prove_edge("\n".join(lines))
    if proof.passed:
        field = proof.field
        x, y = field.x[None, :], field.y[:, None]
        aside = [NUT.at(Stage.FINAL).lower(x + move, y) for move in (-0.005, 0.0, 0.005)]
        deeper = np.minimum.reduce(aside) - field.z > 0.006
        walls = abs(abs(x - 3) - 0.5) < 0.011, abs(abs(x - 9) - 0.5) < 0.011
        assert not (deeper & ~walls[0] & ~walls[1]).any()
