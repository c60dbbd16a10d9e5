"""The marked line in place of the seat's depth, the gap at fret 3 in place of fret 1,
and errors.
"""

import numpy as np
import pytest

from blankcam.faults import InputError
from blankcam.inputs import job_file
from blankcam.instrument.error_effects import effect_of
from blankcam.instrument.heights import gap_held_at_third_fret
from blankcam.instrument.uncertainty import scatter
from blankcam.parts.design import design


def of(text="", kind="steel-string"):
    return design(job_file.parse(f'[instrument]\nname = "x"\nkind = "{kind}"\n{text}', "j"))


def line_of(found, string):
    """Fret tops at the nut over the seat's floor, worked out here: a rule on the frets."""
    u, r, job = string.u_nut, found.job.board.radius.nut, found.job
    return np.sqrt(r * r - u * u) - r + job.board.fret_height + job.nut.seat_drop


def marked(found, pencil=0.0, bass_off=0.0, treble_off=0.0):
    bass, treble = (line_of(found, found.instrument.strings[i]) for i in (0, -1))
    return (
        f'[nut]\nmarked_line = {{ bass = "{bass + pencil + bass_off:.6f} mm", '
        f'treble = "{treble + pencil + treble_off:.6f} mm" }}\npencil = "{pencil} mm"\n'
    )


@pytest.mark.parametrize("pencil", [0.0, 0.5])
def test_the_marked_line_gives_the_nut_that_the_seats_depth_gives(pencil):
    plain = of()
    found = of(marked(plain, pencil))
    for a, b in zip(found.nut.slots, plain.nut.slots, strict=True):
        assert a.floor_front == pytest.approx(b.floor_front, abs=1e-5)
        assert a.depth_front == pytest.approx(b.depth_front, abs=1e-5)
    assert "nut.seat_drop" not in found.job.assumed


def test_with_the_line_marked_the_frets_height_no_longer_matters():
    line = marked(of())
    one, other = (of(f'[board]\nfret_height = "{h} mm"\n{line}') for h in (0.9, 1.4))
    for a, b in zip(one.nut.slots, other.nut.slots, strict=True):
        assert a.floor_front == pytest.approx(b.floor_front, abs=1e-9)
    for a, b in zip(one.saddle.strings, other.saddle.strings, strict=True):
        assert a.height == pytest.approx(b.height, abs=1e-9)


def test_a_line_higher_on_one_side_raises_that_sides_floor():
    plain = of()
    found = of(marked(plain, bass_off=0.3))
    rise = [
        a.floor_front - b.floor_front for a, b in zip(found.nut.slots, plain.nut.slots, strict=True)
    ]
    assert rise[0] == pytest.approx(0.3, abs=1e-5)
    assert rise[-1] == pytest.approx(0.0, abs=1e-5)
    assert rise == sorted(rise, reverse=True)


def test_both_given_are_checked_against_each_other():
    plain = of()
    seat = f'seat_drop = "{plain.job.nut.seat_drop} mm"\n'
    assert not any("line marked" in c for c in of(marked(plain, treble_off=0.14) + seat).cautions)
    told = [c for c in of(marked(plain, treble_off=0.16) + seat).cautions if "line marked" in c]
    assert len(told) == 1
    assert "at the treble string differs by +0.16 mm" in told[0]


@pytest.mark.parametrize("kind", ["classical", "steel-string", "electric"])
def test_the_gap_at_fret_3_by_the_level_frets_formula(kind):
    """gap = lift (1 - s1/s3) on level frets: 0.647 of the lift."""
    flat = '[board]\nradius = "flat"\nrelief = "0 mm"\n[nut]\nlift = "0.3 mm"'
    found = of(flat, kind)
    for string in found.instrument.strings:
        gap = gap_held_at_third_fret(found.instrument.board, string)
        assert gap == pytest.approx(0.3 * (1 - 0.056126 / 0.159104), abs=1e-5)


def test_typical_gaps_at_fret_3_lie_where_the_trade_sets_them():
    """0.13 to 0.30 mm with the string held at fret 3: luthiers' trade practice, for guitars."""
    for string in (found := of(kind="classical")).instrument.strings:
        assert 0.13 <= gap_held_at_third_fret(found.instrument.board, string) <= 0.30


def test_the_gap_at_fret_3_asked_for_comes_back():
    found = of('[nut]\nthird_fret = { bass = "0.25 mm", treble = "0.15 mm" }')
    gaps = [gap_held_at_third_fret(found.instrument.board, s) for s in found.instrument.strings]
    assert (gaps[0], gaps[-1]) == pytest.approx((0.25, 0.15), abs=1e-9)
    for s in found.instrument.strings:  # fret 12 as asked, all the same
        assert float(s.clearance(found.instrument.board, np.array(12.0))) == pytest.approx(s.action)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('third_fret = "0.2 mm"\nfirst_fret = "0.4 mm"', "given beside first_fret"),
        ('third_fret = "0.2 mm"\nlift = "0.3 mm"', "given beside third_fret"),
        ('marked_line = ["6 mm", "6 mm"]', "expected one length, or { bass"),
        ('marked_line = "0.2 mm"', "not believable"),
    ],
)
def test_what_says_one_thing_twice_is_refused(text, words):
    with pytest.raises(InputError, match=words):
        of(f"[nut]\n{text}")


def test_what_is_assumed_is_told_with_what_an_error_in_it_does():
    found = of()
    (told,) = (c for c in found.cautions if "not measured but assumed" in c)
    # the action coefficients: 0.944 and 0.5 of a change at the nut, 0.056 and 0.5 of one at the
    # saddle
    assert "nut.seat_drop (0.1 mm off moves fret 1 by 0.09 mm, fret 12 by 0.05 mm" in told
    assert "saddle.slot_depth (0.1 mm off moves fret 1 by 0.01 mm, fret 12 by 0.05 mm" in told
    # 1 cent at fret 12 is 0.375 mm of saddle on 650: 0.1 mm on 645 is 0.27
    assert "saddle.front_at (0.1 mm off moves its cents by 0.3)" in told
    assert effect_of(found.job, found.instrument, "nut.seat_width") == ""


def test_the_scatter_knows_that_neck_and_bridge_give_way():
    found = of()
    spread = scatter(found.job, found.instrument, samples=4000)
    band = spread.strings[0].action
    # half of a movement with a deviation of 0.3 mm at the saddle: 90 % within 1.645 * 0.15 either
    # way
    assert (band.high - band.low) / 2 == pytest.approx(1.645 * 0.15, rel=0.2)
    assert any("action" in w and "giving way" in w for w in spread.words)
