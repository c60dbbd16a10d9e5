"""The parts while the instrument is set up: heights by hand, never over what stands."""

import numpy as np
import pytest

from blankcam.faults import RefusedError
from blankcam.inputs.job_file import parse
from blankcam.parts.design import design
from blankcam.parts.stage import Stage
from blankcam.refit.as_cut import (
    PartsAsCut,
    Taken,
    after,
    bottom_trim,
    cautions,
    end_heights,
    nut_as_made,
    saddle_as_made,
    slots_lowered,
    stop_unfit,
    top_is_due,
)

KINDS = ("classical", "steel-string", "electric", "ukulele", "mandolin")
X = np.linspace(0, 30, 61)


def designed(kind="steel-string", extra=""):
    return design(parse(f'[instrument]\nname = "x"\nkind = "{kind}"\n{extra}', "job.toml"))


def as_made(found, stage):
    return PartsAsCut(nut=nut_as_made(found, stage), saddle=saddle_as_made(found, stage))


def taken(found, **changes):
    count = len(found.nut.slots)
    values = {"nut": (0.0,) * count, "saddle": (0.0,) * count, "trim": "nothing"}
    return Taken(**(values | changes))


def test_rough_parts_stand_higher_by_hold_back_and_allowances():
    found = designed()
    now = as_made(found, Stage.ROUGH)
    for standing, finished in zip(now.nut.slots, found.nut.slots, strict=True):
        assert standing.floor_front - finished.floor_front == pytest.approx(0.2)
    assert now.nut_stage is Stage.ROUGH
    rough = now.nut.at(Stage.ROUGH).surface.height(X, np.zeros(1))
    assert rough - found.nut.top.height(X) == pytest.approx(1.0)
    assert now.saddle.top.height(X) - found.saddle.top.height(X) == pytest.approx(0.5)
    assert now.saddle.height == pytest.approx(found.saddle.height + 0.5)


def test_final_parts_stand_as_designed():
    found = designed()
    now = as_made(found, Stage.FINAL)
    assert now.nut_stage is Stage.FINAL
    assert not top_is_due(found, now.nut)
    assert [s.floor_front for s in now.nut.slots] == [s.floor_front for s in found.nut.slots]
    assert now.saddle.top.height(X) == pytest.approx(found.saddle.top.height(X))


def test_taking_the_hold_back_the_top_and_the_allowance_gives_the_finished_parts():
    found = designed()
    cut = taken(found, nut=(0.2,) * 6, trim="bottom", bottom_left=0.5, bottom_right=0.5, top=True)
    made = after(found, as_made(found, Stage.ROUGH), cut)
    for standing, finished in zip(made.nut.slots, found.nut.slots, strict=True):
        assert standing.floor_front == pytest.approx(finished.floor_front)
        assert standing.exposure == pytest.approx(finished.exposure, abs=1e-9)
        assert standing.lift == pytest.approx(finished.lift - 0.2)
    assert made.nut.top.height(X) == pytest.approx(found.nut.top.height(X), abs=1e-9)
    assert made.nut.allowance == 0
    assert made.saddle.top.height(X) == pytest.approx(found.saddle.top.height(X), abs=1e-9)
    assert made.saddle.top_radius == found.saddle.top_radius


def test_slots_first_the_top_stays_until_it_is_asked_for():
    found = designed()
    now = as_made(found, Stage.ROUGH)
    made = after(found, now, taken(found, nut=(0.1,) * 6))
    assert made.nut.top == now.nut.top
    assert made.nut.allowance == now.nut.allowance
    assert top_is_due(found, made.nut)
    finished = after(found, made, taken(found, top=True))
    assert not top_is_due(found, finished.nut)


def test_one_slot_too_deep_never_makes_another_shallower_than_its_share():
    """A quarter of the gauge at least, by data/refit.toml, where the old top allows it."""
    found = designed()
    deep = slots_lowered(found.nut, [0.4, 0, 0, 0, 0, 0])
    made = after(found, PartsAsCut(nut=deep, saddle=found.saddle), taken(found, top=True))
    for old, slot in zip(found.nut.slots, made.nut.slots, strict=True):
        assert slot.depth_front >= min(0.25 * slot.gauge, old.depth_front) - 1e-9
    assert any("it may bind" in c for c in cautions(made)) == (
        made.nut.slots[0].depth_front > 1.5 * made.nut.slots[0].gauge
    )


def test_a_slanting_trim_lowers_each_string_by_its_share():
    found = designed()
    now = as_made(found, Stage.ROUGH)
    cut = taken(found, trim="bottom", bottom_left=0.6, bottom_right=0.2)
    made = after(found, now, cut)
    for before, seat in zip(now.saddle.strings, made.saddle.strings, strict=True):
        share = seat.centre / found.saddle.length
        top = float(now.saddle.top.height(np.array(before.centre)))
        assert top - seat.height == pytest.approx(0.6 - 0.4 * share)
    left, right = end_heights(now.saddle)
    new_left, new_right = end_heights(made.saddle)
    assert left - new_left == pytest.approx(0.6, abs=0.02)
    assert right - new_right == pytest.approx(0.2, abs=0.02)


def test_the_trimmed_underside_lies_where_the_saddle_is_lowered():
    """Turned over: what is left between underside and crown is the lowered saddle, at every x."""
    found = designed()
    now = as_made(found, Stage.ROUGH)
    cut = taken(found, trim="bottom", bottom_left=0.6, bottom_right=0.2)
    piece, made = bottom_trim(now.saddle, cut), after(found, now, cut)
    # the crown lies at height - top(x) over the plane that its highest point rests on
    crown = now.saddle.height - now.saddle.top.height(X)
    assert piece.top.height(X) - crown == pytest.approx(made.saddle.top.height(X))
    assert piece.slots == ()


def test_a_new_crown_goes_through_every_height_and_nowhere_over_the_old():
    found = designed()
    now = as_made(found, Stage.ROUGH)
    takes = (0.3, 0.1, 0.4, 0.25, 0.0, 0.2)
    made = after(found, now, taken(found, saddle=takes, trim="crown"))
    for before, seat, take in zip(found.saddle.strings, made.saddle.strings, takes, strict=True):
        old = float(now.saddle.top.height(np.array(before.centre)))
        assert old - seat.height == pytest.approx(take)
        assert float(made.saddle.top.height(np.array(seat.centre))) == pytest.approx(seat.height)
    x = np.linspace(0, found.saddle.length, 2000)
    assert np.all(made.saddle.top.height(x) <= now.saddle.top.height(x) + 1e-9)
    slope = (made.saddle.top.height(x + 1e-5) - made.saddle.top.height(x - 1e-5)) / 2e-5
    assert made.saddle.top.slope(x[1:-1]) == pytest.approx(slope[1:-1], abs=1e-3)
    assert made.saddle.top_radius is None


@pytest.mark.parametrize("kind", KINDS)
def test_no_new_nut_stands_over_the_old_one(kind):
    found = designed(kind)
    count = len(found.nut.slots)
    rng = np.random.default_rng(1)
    now = as_made(found, Stage.ROUGH)
    x = np.linspace(0, found.nut.length, 400)[None, :]
    y = np.linspace(0, found.nut.thickness, 20)[:, None]
    before = found.nut.at(Stage.ROUGH).lower(x, y)  # as milled: windows opened over the slots
    for k in range(3):
        cut = taken(found, nut=tuple(rng.uniform(0, 0.15, count)), top=k == 2)
        made = after(found, now, cut)
        surface = made.nut.at(made.nut_stage).lower(x, y)
        assert np.max(surface - before) <= 1e-9
        before, now = surface, made


def test_a_saddle_or_a_floor_that_would_be_gone_is_refused():
    found = designed()
    now = as_made(found, Stage.FINAL)
    with pytest.raises(RefusedError, match="of the seat"):
        stop_unfit(found, after(found, now, taken(found, nut=(5.0,) * 6)))
    low = taken(found, trim="bottom", bottom_left=9.0, bottom_right=9.0)
    with pytest.raises(RefusedError, match="at its lowest"):
        stop_unfit(found, after(found, now, low))


def test_a_saddle_that_would_leave_its_slot_or_sink_into_it_is_refused_with_the_figure():
    found = designed()
    made = as_made(found, Stage.FINAL)
    stop_unfit(found, made)
    raised = PartsAsCut(nut=made.nut, saddle=made.saddle, saddle_shim=4.0)
    with pytest.raises(RefusedError, match=r"only 1\.50 mm of it stand in its slot"):
        stop_unfit(found, raised)
    centres = np.array([s.centre for s in made.saddle.strings])
    proud = float(np.min(made.saddle.top.height(centres))) - found.job.saddle.slot_depth
    low = taken(found, trim="bottom", bottom_left=proud - 0.3, bottom_right=proud - 0.3)
    with pytest.raises(RefusedError, match=r"0\.30 mm over the bridge"):
        stop_unfit(found, after(found, made, low))


def test_taking_nothing_changes_nothing():
    found = designed()
    now = as_made(found, Stage.FINAL)
    assert after(found, now, taken(found)) == now


def test_a_top_follows_floors_that_stay_high_into_the_waste_that_stands_beside_them():
    """Floors 0.1 mm over the design at 0.2 of hold-back: the string lies as deep as asked for.

    By the definition of exposure: its depth is the gauge less the share that is to stand out.
    """
    found = designed()
    held = found.nut.hold_back
    assert found.nut.allowance > held > 0.1
    now = as_made(found, Stage.ROUGH)
    cut = taken(found, nut=(held - 0.1,) * 6, top=True)
    made = after(found, now, cut).nut
    for old, slot in zip(found.nut.slots, made.slots, strict=True):
        assert slot.floor_front == pytest.approx(old.floor_front + 0.1)
        assert slot.depth_front == pytest.approx(old.depth_front, abs=1e-6)
    assert not list(cautions(PartsAsCut(nut=made, saddle=None)))


def test_floors_higher_than_the_waste_beside_them_are_told_as_too_shallow():
    """Left 0.25 mm over the design: the top stays 0.2 mm higher, so a plain string lies
    shallower.
    """
    found = designed()
    held, slot = found.nut.hold_back, found.nut.slots[-1]
    made = after(found, as_made(found, Stage.ROUGH), taken(found, top=True)).nut
    assert made.slots[-1].depth_front == pytest.approx(slot.depth_front, abs=1e-6)
    high = slots_lowered(nut_as_made(found, Stage.ROUGH), (-0.15,) * 6)
    made = after(found, PartsAsCut(nut=high, saddle=None), taken(found, top=True)).nut
    assert made.slots[-1].depth_front == pytest.approx(slot.depth_front - 0.15, abs=1e-6)
    assert held == 0.2
    assert any("may jump out" in c for c in cautions(PartsAsCut(nut=made, saddle=None)))
