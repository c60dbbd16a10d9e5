"""The slot cut along and across: its areas against plane geometry, its words against each other."""

import dataclasses
import itertools
import math

import pytest
from shapely import Polygon

from blankcam.data import table
from blankcam.inputs import job_file
from blankcam.outputs.drawings.slot_across import across_view
from blankcam.outputs.drawings.slot_across_dimensions import heights
from blankcam.outputs.drawings.slot_along import along_view
from blankcam.outputs.drawings.slot_section import (
    Asked,
    SlotSection,
    Standing,
    filled,
    finished_across,
    lines_across,
    waste,
)
from blankcam.outputs.drawings.strokes import Letters
from blankcam.parts.design import design
from tests.conftest import EACH_DEMO_JOB

SIZES = (
    (across_view, (600.0, 300.0), Letters(cap=10.05, hatched=False)),
    (along_view, (600.0, 300.0), Letters(cap=10.05, hatched=False)),
    (across_view, (314.0, 250.0), Letters(cap=9.34, terse=True, hatched=False)),
    (along_view, (314.0, 240.0), Letters(cap=9.34, hatched=False)),
    (across_view, (38.0, 27.0), Letters(cap=2.03, full=False, hatched=False)),
    (along_view, (19.0, 14.0), Letters(cap=2.03, full=False, hatched=False)),
)
"""The page on a desk and on a phone, px; a paper card with letters of 8 points, mm."""


def sections(path, milled=True):
    job = job_file.load(str(path))
    found = design(job)
    if found.nut is None:
        return
    for slot, string in zip(found.nut.slots, found.instrument.strings, strict=True):
        top = slot.floor_front + slot.depth_front
        yield SlotSection(
            nut=found.nut,
            slot=slot,
            string=string,
            stock=job.blanks.nut.height,
            milled=milled,
            bass_left=not job.left_handed,
            refit=Asked(floor=slot.floor_front - 0.04, top=top - 0.03),
        )


@pytest.fixture(scope="module", params=EACH_DEMO_JOB)
def demo(request):
    return [s for milled in (True, False) for s in sections(request.param, milled)]


def test_no_two_words_meet_and_none_leaves_its_room(demo):
    for section, standing, (view, size, letters) in itertools.product(demo, Standing, SIZES):
        words = view(section, standing, size, letters).words
        boxes = [Polygon(w.corners()) for w in words]
        for (w, a), (v, b) in itertools.combinations(zip(words, boxes, strict=True), 2):
            assert a.intersection(b).area < 1e-9, (section.slot.string, standing, w.text, v.text)
        for word, box in zip(words, boxes, strict=True):
            x0, y0, x1, y1 = box.bounds
            inside = x0 > -0.01 and y0 > -0.01 and x1 < size[0] + 0.01 and y1 < size[1] + 0.01
            assert inside, (section.slot.string, standing, size, word.text)


def test_every_line_and_tint_is_in_the_key(demo):
    key = table("section")
    known = {*key["lines"], *key["fills"], *(f"{k} over" for k in key["fills"])}
    hatched = Letters(cap=2.03)
    for section, standing, (view, size, _) in itertools.product(demo[:3], Standing, SIZES[4:]):
        drawing = view(section, standing, (3 * size[0], 3 * size[1]), hatched)
        assert {"stays", "stays over"} <= {p.holds for p in drawing.paths}
        assert {p.holds for p in drawing.paths} <= known
        assert {w.holds for w in drawing.words} <= {*known, "words", "ink"}


def test_what_goes_is_the_groove_and_the_allowance(demo):
    """Plane geometry: half a circle and a rectangle, or a segment of a circle, and the strip over
    it.

    The floor falls, so that its section is an ellipse, wider than a circle is high by 1 / cos.
    """
    for section in demo:
        nut, slot = section.nut, section.slot
        left, right = section.window(slot.radius + 0.3)
        whole = filled([(left, section.stock), (right, section.stock)], 0.0)
        stays = filled(finished_across(section, left, right, Standing.FINISHED), 0.0)
        top = filled([(x, float(nut.top.height(x))) for x in _places(left, right)], 0.0)
        groove = top.area - stays.area
        assert groove == pytest.approx(_groove_area(slot), rel=0.03)
        strip = (right - left) * section.stock - top.area
        goes = waste(whole, stays).area
        assert goes == pytest.approx(groove + strip, rel=1e-3)


def _places(left, right):
    return [left + (right - left) * i / 200 for i in range(201)]


def _groove_area(slot):
    r, high = slot.radius, slot.radius / math.cos(slot.tilt)
    d = slot.depth_front
    if d >= high:
        return math.pi * r * high / 2 + 2 * r * (d - high)
    turn = math.acos(1 - d / high)
    return r * high * (turn - math.sin(turn) * math.cos(turn))


def test_less_goes_the_further_the_work_has_come(demo):
    for section in demo:
        left, right = section.window(section.slot.radius + 0.3)
        areas = [
            filled(lines_across(section, left, right, s).stands, 0.0).area
            for s in (Standing.BLANK, Standing.ROUGH, Standing.FINISHED)
        ]
        assert areas == sorted(areas, reverse=True)


def test_heights_fall_and_carry_their_own_lines_and_the_gauge_adds_up(demo):
    for section in demo:
        told = heights(section, Standing.REFIT)
        assert [h.z for h in told] == sorted((h.z for h in told), reverse=True)
        assert {h.holds for h in told} >= {"finished", "refit"}
        assert section.stands_out + section.slot.depth_front == pytest.approx(section.slot.gauge)
        assert 2 * section.clear + section.slot.gauge == pytest.approx(section.slot.width)


def test_a_string_is_whole_only_where_it_lies_now(demo):
    """Left to the file it is dashed until its slot is there; milled it lies on the rough floor."""
    for section in demo:
        for standing in Standing:
            drawn = across_view(section, standing, SIZES[0][1], SIZES[0][2]).paths
            whole = any(p.holds == section.string_make for p in drawn)
            strung = standing in (Standing.REFIT, Standing.FINISHED)
            assert whole == (strung or (standing is Standing.ROUGH and section.milled))


def test_without_readings_there_is_no_refit_to_show(demo):
    section = dataclasses.replace(demo[0], refit=None)
    assert section.standings == (Standing.BLANK, Standing.ROUGH, Standing.FINISHED)


def test_at_a_refit_what_goes_is_between_what_stands_and_what_is_asked(demo):
    """Lower floors by an amount, tops by another: over the window the strips are those
    two areas.
    """
    for section in demo[:4]:
        slot, low, off = section.slot, 0.05, 0.12
        now = Asked(floor=slot.floor_front + low, top=section.finished_top + off)
        asked = Asked(floor=slot.floor_front, top=section.finished_top)
        refit = dataclasses.replace(section, stands=now, refit=asked)
        left, right = section.window(slot.radius + 0.3)
        stands = filled(lines_across(refit, left, right, Standing.REFIT).stands, 0.0)
        stays = filled(finished_across(refit, left, right, Standing.REFIT), 0.0)
        want = slot.width * low + (right - left - slot.width) * off
        assert stands.area - stays.area == pytest.approx(want, rel=0.02)
        assert refit.first_floor == now.floor
        told = {h.words: h.z for h in heights(refit, Standing.REFIT)}
        assert (told["floor now"], told["refit floor"]) == (now.floor, asked.floor)
        left_alone = dataclasses.replace(refit, refit=dataclasses.replace(asked, floor=now.floor))
        told = {h.words for h in heights(left_alone, Standing.REFIT)}
        assert "refit floor" not in told  # no work, so nothing in its colour
        assert {"floor now", "refit top"} <= told
