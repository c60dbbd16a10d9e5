"""Our reader beside a real controller's interpreter: the same path, and never more lenient."""

import math

import pytest

from blankcam.replay.motions import PLANE_AXES, MoveKind
from blankcam.replay.reader import read_program
from tests.faults.planted import FAULTS, damaged
from tests.oracle.interpreter import ask, require
from tests.replay.bench import MILL, TOOLS, edge_program
from tests.replay.test_reader import HEAD, TAIL

pytestmark = [pytest.mark.oracle, pytest.mark.long]
MIXED = (
    HEAD
    + (
        "G3 X2 Y2 I0 J2\nG2 X4 Y0 R-2.5\nG18 G2 X6 Z-1 I1 K-.5\nG19 G3 Y2 Z-1 J1 K0.3\n"
        "G91\nG17 G1 X-1.5 Y.25 Z.125\nG3 X-1 Y1 I0 J1\nG90\nG1 X0 Y 1 0 . 5\nG18 G3 X2 Z0 R3 Y11"
    )
    + TAIL
)


@pytest.fixture(autouse=True)
def interpreter():
    require()


@pytest.mark.parametrize("text", [MIXED, edge_program()], ids=["mixed", "nut"])
def test_the_path_is_the_one_a_controller_makes_of_the_text(text, tmp_path):
    got = read_program(text, MILL)
    assert got.findings == (), [str(f) for f in got.findings]
    heard = ask(text, TOOLS, tmp_path)
    assert heard.accepted, heard.complaint
    moves = got.moves
    # Its first moves stand where it began; a move that goes nowhere is not told
    assert len(heard.steps) == len(moves)
    for i, step in enumerate(heard.steps):
        known = [k for k in range(3) if not math.isnan(moves.end[i, k])]
        assert [step.end[k] for k in known] == pytest.approx(
            [moves.end[i, k] for k in known], abs=1e-4
        )
        if step.kind == "arc":
            a, b, _ = PLANE_AXES[int(moves.plane[i])]
            assert step.plane == f"G{moves.plane[i]}"
            assert step.centre == pytest.approx(
                (moves.centre[i, a], moves.centre[i, b]), abs=1.5e-4
            )
            assert (step.turn > 0) == (moves.kind[i] == MoveKind.ARC_CCW)
        else:
            assert (step.kind == "rapid") == (moves.kind[i] == MoveKind.RAPID)


@pytest.mark.parametrize("name", sorted(FAULTS))
def test_what_the_controller_refuses_our_reader_faults(name, tmp_path):
    text = damaged(edge_program(), name)
    if text is None:
        pytest.skip("nothing of the kind in this program")
    heard = ask(text, TOOLS, tmp_path)
    assert heard.accepted or read_program(text, MILL).findings
