"""A saddle in a slanted slot, put back on the instrument by rigid motions in 3-D, by numpy alone.

The motion is built from the two measured points of the slot's front edge and the bridge's plane,
with no angle and none of the code's own conversions. Points are (u, -s, z) on the instrument:
across to the right, toward the head from the nut's front edge, out of the face, a right-handed
frame.
"""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blankcam.faults import InputError
from blankcam.inputs import job_file
from blankcam.parts.design import design
from blankcam.parts.stage import Stage

SCALE, SPAN = 645.0, 54.0
JOB = """
[instrument]
name = "slanted"
kind = "steel-string"
scale = "645 mm"
handed = "{hand}"
[board]
radius = "{radius}"
[saddle]
front_at = {{ bass = "{bass} mm", treble = "{treble} mm" }}
string_span = "54 mm"
slot_width = "{width} mm"
top = "{top}"
"""


def made(hand="right", bass=648.0, treble=645.2, width=3.0, radius="16 in", top="per string"):
    text = JOB.format(hand=hand, bass=bass, treble=treble, width=width, radius=radius, top=top)
    blank = (
        '[blanks]\nnut = { length = "52 mm", height = "10 mm", thickness = "6 mm" }\n'
        f'saddle = {{ length = "80 mm", height = "13 mm", thickness = "{width} mm" }}'
    )
    return design(job_file.parse(text + blank, "j"))


def placed(found):
    """The rigid motion of the saddle into its slot: rotation (3, 3) and shift (3,)."""
    job = found.job
    side = 1.0 if job.left_handed else -1.0
    bass = np.array([side * SPAN / 2, -job.saddle.front_at.bass, 0.0])
    treble = np.array([-side * SPAN / 2, -job.saddle.front_at.treble, 0.0])
    middle = (bass + treble) / 2
    along = (bass - treble) * side  # the part's x runs to the right, whichever hand
    x = along / np.linalg.norm(along)
    z = np.array([0.0, 0.0, 1.0])
    turn = np.column_stack([x, np.cross(z, x), z])
    assert turn[1, 1] > 0  # the part's y runs toward the head
    floor = job.board.fret_height - job.saddle.fret_line - job.saddle.slot_depth
    leans_on = np.array([found.saddle.length / 2, found.saddle.thickness, 0.0])
    return turn, middle + np.array([0.0, 0.0, floor]) - turn @ leans_on


def ridge_points(found):
    """Each string's crossing on the finished solid, found on the solid alone, in part axes."""
    saddle = found.saddle
    y = np.linspace(0.0, saddle.thickness, 30001)
    for seat in saddle.strings:
        z = saddle.at(Stage.FINAL).lower(np.full_like(y, seat.centre), y)
        yield np.array([seat.centre, y[np.argmax(z)], np.max(z)])


def fret_top(job, n, u):
    s = SCALE * (1 - 2 ** (-n / 12))
    r = job.board.radius.nut
    first, body = (SCALE * (1 - 2 ** (-m / 12)) for m in (1, job.board.body_fret))
    t = np.clip((s - first) / (body - first), 0, 1)
    wood = 0.0 if math.isinf(r) else math.sqrt(r * r - u * u) - r
    return s, wood + job.board.fret_height - 4 * job.board.relief * t * (1 - t)


@pytest.mark.parametrize("hand", ["right", "left"])
@pytest.mark.parametrize(
    ("bass", "treble"), [(648.0, 645.2), (646.5, 646.5), (649.4, 643.9), (646.0, 646.8)]
)
@pytest.mark.parametrize("radius", ["16 in", "flat", "20 ft"])
def test_strings_laid_over_the_placed_saddle_clear_the_frets_as_asked(hand, bass, treble, radius):
    found = made(hand, bass, treble, radius=radius)
    turn, shift = placed(found)
    assert np.linalg.det(turn) == pytest.approx(1.0)  # turned, never mirrored
    nut = found.nut
    for i, (part, slot) in enumerate(zip(ridge_points(found), nut.slots, strict=True)):
        ridge = turn @ part + shift
        string = found.instrument.strings[i]
        start = np.array(
            [slot.centre - nut.length / 2, 0.0, slot.floor_front - found.job.nut.seat_drop]
        )
        assert -ridge[1] - SCALE == pytest.approx(found.saddle.strings[i].compensation, abs=3e-4)
        for n, wanted in ((1, string.first_fret), (12, string.action)):
            at = SCALE * (1 - 2 ** (-n / 12)) / -ridge[1]
            u, head, z = start + at * (ridge - start)
            s_fret, top = fret_top(found.job, n, u)
            assert -head == pytest.approx(s_fret)
            assert z - top == pytest.approx(wanted, abs=2e-4)
    outer = [turn @ p + shift for p in ridge_points(found)]
    bass_side = 1 if hand == "left" else -1
    assert outer[0][0] == pytest.approx(bass_side * SPAN / 2, abs=1e-4)
    assert outer[-1][0] == pytest.approx(-bass_side * SPAN / 2, abs=1e-4)


@pytest.mark.parametrize("hand", ["right", "left"])
def test_a_slanted_slot_lets_every_string_reach_its_compensation(hand):
    # the trade's 3 degrees: 54 tan 3 = 2.83 mm between the ends (common practice, no source)
    found = made(hand, bass=648.0, treble=645.17)
    assert math.degrees(abs(found.saddle.slot.angle)) == pytest.approx(3.0, abs=0.01)
    assert all(s.compensation == pytest.approx(s.wanted_compensation) for s in found.saddle.strings)
    square = made(hand, bass=646.585, treble=646.585)
    assert max(abs(s.cents) for s in square.saddle.strings) > 0.5


def test_a_part_made_for_a_square_slot_is_three_cents_off_in_a_slanted_one():
    """What a slot of 3 degrees costs if it is called square: half of 2.83 mm at each
    outer string.
    """
    slanted = made(bass=648.0, treble=645.17, width=6.0)
    square = made(bass=646.585, treble=646.585, width=6.0)
    turn, shift = placed(slanted)
    for i, sign in ((0, -1), (-1, 1)):
        part = list(ridge_points(square))[i]
        ridge = turn @ part + shift
        off = -ridge[1] - SCALE - square.saddle.strings[i].compensation
        cents = -1200 / math.log(2) * off / SCALE
        assert cents == pytest.approx(sign * 3.8, abs=0.3)


def test_along_a_slant_the_strings_stand_further_apart_on_the_part():
    found = made(bass=649.4, treble=643.9)
    first, last = (found.saddle.strings[i] for i in (0, -1))
    a, b = (np.array([s.centre, s.ridge]) for s in (first, last))
    # the same two points of the instrument, by Pythagoras
    span = math.hypot(SPAN, first.compensation - last.compensation)
    assert np.linalg.norm(b - a) == pytest.approx(span, abs=1e-9)
    assert b[0] - a[0] > SPAN


def test_the_boards_arc_along_a_slanted_slot_follows_the_strings_as_well_as_along_a_square_one():
    slanted = made(bass=649.4, treble=643.9, width=4.0, top="board radius", radius="10 in")
    square = made(bass=646.6, treble=646.6, width=4.0, top="board radius", radius="10 in")
    worst = [max(abs(s.residual) for s in f.saddle.strings) for f in (slanted, square)]
    assert worst[0] < worst[1] + 0.005


@pytest.mark.property
@settings(max_examples=30)
@given(st.floats(-0.1, 0.2), st.floats(-40, 40), st.floats(640, 660), st.floats(2, 6))
def test_to_the_part_and_back(angle, u, s, thickness):
    from blankcam.parts.saddle_slot import SaddleSlot

    slot = SaddleSlot(middle=647.0, angle=angle)
    x, y = slot.to_part(u, s, length=73.0, thickness=thickness)
    back = slot.to_instrument(x, y, length=73.0, thickness=thickness)
    assert back == pytest.approx((u, s))
    assert slot.ridge(u, s, thickness) == pytest.approx(y)
    assert slot.at_ridge(u, y, thickness) == pytest.approx(s)


@pytest.mark.parametrize(
    ("front", "words"),
    [
        ('{ bass = "670 mm", treble = "646 mm" }', "does not go with a scale"),
        ('{ bass = "660 mm", treble = "646 mm" }', "would slant the slot by 14.5 degrees"),
        ('{ bass = "644 mm", treble = "649 mm" }', "would slant the slot by -5.3 degrees"),
        ('["648 mm", "645 mm"]', "expected one length, or { bass"),
        ('{ bass = "648 mm" }', "expected one length, or { bass"),
    ],
)
def test_ends_that_make_no_slot_are_refused(front, words):
    text = '[instrument]\nname = "x"\nkind = "steel-string"\n[saddle]\nfront_at = ' + front
    with pytest.raises(InputError, match=words):
        job_file.parse(text, "j")
