"""The set-up on face, and what it leaves for the one on edge."""

import numpy as np
import pytest

from blankcam.inputs.tool import Shape
from blankcam.replay.codes import Code
from blankcam.replay.face_setup import drop_waste, lower_all_by_face, lower_by_face
from blankcam.replay.heightmap import Heightmap
from blankcam.replay.reader import read_program
from tests.replay.bench import MILL, NUT, STOCK, edge_program, face_program, prove_both, tool
from tests.replay.test_prove import codes
from tests.replay.test_reader import HEAD, TAIL

EDGE = edge_program()


def test_face_and_edge_together_make_the_part():
    proof = prove_both(face_program(), EDGE)
    assert proof.passed, [str(f) for f in proof.faults]
    assert [p.setup for p in proof.programs] == ["face", "edge"]
    assert proof.ends_um == pytest.approx(0, abs=1.1)
    x = proof.field.x
    assert np.isinf(proof.field.z[:, x < -2.0]).all()
    assert (proof.field.z[:, (x > -1) & (x < 0)] < 4).all()


def test_height_over_x_is_the_lower_edge_of_the_disc():
    """A 2 mm tool along x at z 6: below it stands 5; beside its end at x 4, 6 - sqrt(1 - dx²)."""
    text = HEAD.replace("T1\n", "T6\n").replace("X0 Y0", "X-4 Y6") + "G1 Z-5\nX4" + TAIL
    got = read_program(text, MILL)
    assert got.findings == ()
    field = Heightmap(
        np.array([0.0, 4.0, 4.6, 4.8, 5.1]), np.array([1.0, 4.9]), np.full((2, 5), 8.0)
    )
    lower_by_face(field, got.moves, {6: tool(6, Shape.FLAT, 2.0)}, 3.0)
    assert field.z[0] == pytest.approx([5, 5, 5.2, 5.4, 8])
    shallow = read_program(text.replace("Z-5", "Z-2"), MILL)
    field.z[:] = 8.0
    lower_by_face(field, shallow.moves, {6: tool(6, Shape.FLAT, 2.0)}, 3.0)
    assert field.z[:, 0] == pytest.approx([5, 8])  # only down to y 2


def test_fields_lowered_at_once_are_as_each_lowered_by_itself():
    """Their places lie between and over each other; the outline has arcs and levels."""
    moves = read_program(face_program(), MILL).moves
    tools = {6: tool(6, Shape.FLAT, 2.0)}

    def fields():
        for low, high, count, rows in (
            (-2, 14, 200, 9),
            (-0.2, 0.2, 401, 4),
            (11.8, 12.2, 401, 4),
            (5, 6, 9, 1),
        ):
            y = np.linspace(0.01, 4.99, rows)
            yield Heightmap(np.linspace(low, high, count), y, np.full((rows, count), 8.0))

    together, apart = tuple(fields()), tuple(fields())
    seats = lower_all_by_face(together, moves, tools, 3.0)
    for one, other, seat in zip(together, apart, seats, strict=True):
        assert np.array_equal(seat, lower_by_face(other, moves, tools, 3.0))
        assert np.array_equal(one.z, other.z)
        top = NUT.top.height(one.x)
        over = (one.x > 0.05) & (one.x < 11.95)
        assert one.z[:, over] == pytest.approx(np.tile(top[over] + 0.3, (len(one.y), 1)), abs=1e-4)


def test_several_fields_at_once_are_each_as_the_disc_leaves_them():
    """A 2 mm tool on a half circle of 5 mm about (0, 6) over the top: its lower edge is a circle
    of 4 mm, wherever the fields lie beside or over one another."""
    text = HEAD.replace("T1\n", "T6\n").replace("X0 Y0", "X-5 Y6") + "G1 Z-5\nG2 X5 Y6 I5 J0" + TAIL
    got = read_program(text, MILL)
    assert got.findings == ()
    places = [np.array([-3.9, -1.0, 0.0, 2.0, 3.5]), np.array([-3.99, -2.0, 0.5]),
              np.array([1.0, 3.0])]  # fmt: skip
    fields = [Heightmap(x, np.array([1.0, 4.9]), np.full((2, len(x)), 12.0)) for x in places]
    lower_all_by_face(fields, got.moves, {6: tool(6, Shape.FLAT, 2.0)}, 3.0)
    for x, field in zip(places, fields, strict=True):
        assert field.z[0] == pytest.approx(6 + np.sqrt(16 - x**2), abs=1e-9)


def test_waste_falls_away_beyond_what_is_cut_through_its_whole_thickness_only():
    x = np.arange(9.0)
    z = np.full((3, 9), 8.0)
    z[:, 2] = z[:, 6] = 1.0  # cut in every row
    z[1, 4] = z[0, 1] = z[2, 7] = 1.0  # not so
    field = Heightmap(x, np.arange(3.0), z.copy())
    drop_waste(field, 3.0, 4.0)
    assert np.isneginf(field.z[:, [0, 1, 7, 8]]).all()
    assert np.array_equal(field.z[:, 2:7], z[:, 2:7])
    whole = Heightmap(x, np.arange(3.0), np.full((3, 9), 8.0))
    drop_waste(whole, 3.0, 4.0)
    assert (whole.z == 8.0).all()


@pytest.mark.parametrize(("over", "good"), [(0.003, True), (0.008, False), (-0.008, False)])
def test_ends_are_held_to_five_micrometres(over, good):
    proof = prove_both(face_program(over=over), EDGE)
    assert proof.ends_um == pytest.approx(1000 * over, abs=1.1)
    assert proof.passed is good
    assert good or Code.OUTLINE in codes(proof)


def test_an_outline_cut_into_the_top_is_gouge():
    proof = prove_both(face_program(raised=-0.4), EDGE)
    gouge = next(f for f in proof.faults if f.code is Code.GOUGE)
    assert gouge.value == pytest.approx(0.4, abs=0.01)
    assert gouge.program == "nut-face.ngc"
    assert gouge.text.startswith("G2 X")


def test_cut_into_from_the_seat():
    text = face_program().replace("M5\n", "G0 X6 Y-2.5\nG1 Z-5 F100\nY-0.9 F300\nG0 Z5\nM5\n", 1)
    proof = prove_both(text, EDGE)
    found = next(f for f in proof.faults if f.code is Code.OUTLINE)
    assert found.value == pytest.approx(0.1, abs=0.001)


def test_too_deep_into_the_waste_board():
    assert Code.BED in codes(prove_both(face_program().replace("Z-5.3", "Z-5.6"), EDGE))


def test_a_rapid_through_the_blank_on_face():
    text = face_program().replace("G0 Z5.0000\nG0 X", "G0 X", 1)
    bad = face_program().replace("Y-2.5000\nG0 Z5.0000\nG0 X-1.0000", "Y-2.5000\nG0 X-1.0000 Y4", 1)
    assert text != bad
    proof = prove_both(bad, EDGE)
    assert Code.RAPID in codes(proof)
    contact = next(f for f in proof.faults if f.code is Code.RAPID)
    assert STOCK.y0 <= contact.at[1] <= STOCK.y1
    way = -2.5 + 6.5 * (13 - contact.at[0]) / 14  # from x 13 z -2.5 to x -1 z 4
    assert contact.at[2] == pytest.approx(way, abs=1.2)  # the tool's radius beside it


def test_only_flat_tools_on_face():
    assert Code.KERNEL in codes(prove_both(face_program().replace("T6", "T3"), EDGE))


def test_an_end_cut_through_only_on_part_of_its_thickness_is_faulted():
    """The last step of the right end dropped: a skin stays at the far face."""
    good = face_program()
    head, tail = good.rsplit("G2 X", 1)
    skin = head + "G1 Z-4.5\nG2 X" + tail
    proof = prove_both(skin, edge_program())
    assert Code.OUTLINE in codes(proof)
