"""The page's text: size, policy, escaping, the same bytes; its numbers against the parts' own."""

import base64
import dataclasses
import hashlib
import json
import math
import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from blankcam.inputs import job_file
from blankcam.inputs.machine import Profile
from blankcam.outputs.rows import Column
from blankcam.parts.stage import Stage
from blankcam.preview import html, paths, solids
from blankcam.preview import page as page_module
from blankcam.preview.page import page
from blankcam.preview.scene import page_data
from blankcam.replay import reader
from tests.outputs.test_sheet import MANY
from tests.preview.conftest import data_of, data_of_job, sawn


@pytest.fixture(scope="module")
def text(steel_file):
    return steel_file.read_text(encoding="utf-8")


@pytest.mark.long
def test_a_six_string_job_with_four_programs_is_under_600_kilobytes(steel, text):
    assert len(steel[2].programs) == 4
    assert len(text.encode()) < 600_000


def test_the_script_loses_its_remarks_and_nothing_else():
    text = "/* two\n   lines */\n  a(); // stays\n  // goes\n\n/* said */ b();\nc('/* d */');\n"
    assert page_module._without_remarks(text) == "a(); // stays\n/* said */ b();\nc('/* d */');"


@pytest.mark.long
@pytest.mark.parametrize("machine", ["bench-mill", "light-router"])
def test_a_page_of_24_strings_is_under_600_kilobytes(machine):
    _, _, data = data_of_job(job_file.parse(MANY, "many.toml"), (Stage.ROUGH,), machine)
    assert len(data.side.strings) == 24
    assert data.programs
    assert len(page(data).encode()) < 600_000


@pytest.mark.long
def test_a_chapter_begins_at_each_operations_own_remark(steel):
    files = [f for c in steel[1] for f in c.programs]
    for view, file in zip(steel[2].programs, files, strict=True):
        operations = file.program.operations
        assert [c.name for c in view.chapters] == [o.name for o in operations]
        for chapter, operation in zip(view.chapters, operations, strict=True):
            assert view.text[chapter.line - 1].startswith(f"({operation.name} ")
            assert chapter.tool == operation.tool.number


def test_the_first_step_rubs_the_thick_blank_to_its_fit(steel):
    """To the middle of its fit, from the thickness that the job measured."""
    found, _, data = steel
    head, aim = data.next_step.head
    assert head == "Rub the nut blank to "
    assert aim == pytest.approx(found.nut.fit.target)
    assert found.job.blanks.nut.thickness in data.next_step.words


def test_the_same_data_give_the_same_bytes(steel, text):
    assert page(steel[2]) == text


def test_the_policy_names_the_one_script_and_the_one_style(text):
    """CSP Level 3: a hash source is the SHA-256 of the element's text, in base64."""
    policy = re.search(r'Content-Security-Policy" content="([^"]+)"', text)[1]
    for tag, kind in (("script", "script-src"), ("style", "style-src")):
        inside = re.findall(rf"<{tag}>(.*?)</{tag}>", text, re.DOTALL)
        assert len(inside) == 1
        digest = base64.b64encode(hashlib.sha256(inside[0].encode()).digest()).decode()
        assert f"{kind} 'sha256-{digest}'" in policy
    assert policy.startswith("default-src 'none'")
    assert "unsafe" not in policy


def test_nothing_in_the_page_asks_for_anything(text):
    markup_only = re.sub(r"<(script|style)\b.*?</\1>", "", text, flags=re.DOTALL)
    assert not re.search(r"\s(src|style|on\w+)=", markup_only)
    assert set(re.findall(r'href="([^"]*)"', markup_only)) == {"#main"}
    assert "http" not in markup_only.replace("http-equiv", "")


@pytest.mark.property
@given(st.text(max_size=60))
def test_words_hold_no_markup_and_no_controls(text):
    got = html.words(text)
    assert not set(got) & set("<>\"'")
    assert all(c.isprintable() for c in got)


@pytest.mark.property
@given(st.recursive(st.text(max_size=20), lambda inner: st.lists(inner, max_size=4)))
def test_data_come_back_and_cannot_end_their_element(value):
    got = html.data(value)
    assert json.loads(got) == value
    assert not set(got) & set("<>&\u2028\u2029")


def test_a_cell_says_minus_with_a_minus_and_never_minus_zero():
    assert html.fixed(-0.004, 2) == "0.00"
    assert html.fixed(-0.5, 1, signed=True) == "\u22120.5"
    assert 'data-mm="-0.00400"' in html.cell(
        Column(key="a", title="a", unit="mm", decimals=2), -0.004
    )


def test_every_slot_number_of_the_report_is_in_the_table(steel):
    """Table rows against the nut itself."""
    found, _, data = steel
    (table,) = (s.table for s in data.tables if s.table.key == "nut")
    for slot, row in zip(found.nut.slots, table.rows, strict=True):
        for number in (slot.gauge, slot.centre, slot.width, slot.floor_front, slot.depth_front):
            assert any(isinstance(v, float) and math.isclose(v, number) for v in row)


def test_deviations_find_what_was_cut_away(steel):
    """A pit of 30 micrometres dug into the replayed finished nut is in the page's deviations."""
    found, cuts, _ = steel
    cut = next(c for c in cuts if c.part == "nut" and c.stage is Stage.FINAL)
    field = cut.proof.field
    z = field.z.copy()
    row, column = len(field.y) // 2, int(np.argmin(np.abs(field.x - 7.4)))
    wanted = found.nut.at(Stage.FINAL).lower(field.x[None, column], field.y[None, row])
    z[row, column] = float(wanted[0]) - 0.030
    pitted = dataclasses.replace(field, z=z)
    left = solids.Left(stage=Stage.FINAL, milled=cut.milled, field=pitted)
    seen = solids.replayed(found.nut, left)
    assert np.nanmin(seen.deviation) == pytest.approx(
        -30.0, abs=1.0
    )  # heights 5 µm aside count too: 0.6 at 7°
    clean = solids.replayed(found.nut, dataclasses.replace(left, field=field))
    assert np.nanmin(clean.deviation) == pytest.approx(-cut.proof.gouge_um, abs=1.0)
    assert np.nanmax(clean.deviation) == pytest.approx(cut.proof.left_um, abs=1.0)


def test_the_jaws_shown_grip_the_blank_by_both_faces(steel):
    """On edge two jaws, one each side, their tops between the blank's bottom and its top."""
    _, cuts, data = steel
    for view, cut in zip(data.programs, cuts, strict=True):
        stock = cut.programs[0].program.stock
        behind, before = sorted(view.held_by, key=lambda b: b.low[1])
        assert (behind.high[1], before.low[1]) == pytest.approx(view.cells.box[2:])
        for jaw in (behind, before):
            assert stock.z0 < jaw.high[2] < stock.z1
            assert jaw.low[0] <= view.cells.box[0] < view.cells.box[1] <= jaw.high[0]


PROFILE = Profile(name="t", kind="mill")
QUARTER = """G21 G17 G90
T1 M6
G0 X10 Y0 Z5
G1 Z-1 F100
G3 X0 Y10 I-10 J0
M30
"""


def test_a_quarter_turn_lies_on_its_circle_and_takes_its_time():
    """pi/2 times 10 mm at 100 mm/min is 9.42 s, 6 mm down is 3.6 s; the rest is rapid."""
    moves = reader.read_program(QUARTER, PROFILE).moves
    way = paths.path(moves, PROFILE, 100.0)
    arc = way.points[way.line == 5]
    assert np.allclose(np.hypot(arc[:, 0], arc[:, 1]), 10.0)
    middles = (arc[1:] + arc[:-1]) / 2
    assert np.all(np.hypot(middles[:, 0], middles[:, 1]) >= 10.0 - paths.SAGITTA - 1e-9)
    assert way.points[-1].tolist() == [0.0, 10.0, -1.0]
    down, end = way.seconds[way.line == 4][0], way.seconds[-1]
    first = way.seconds[0]
    assert end == pytest.approx(100.0)
    # Chords are shorter than their arc by 2/3 of sagitta over radius, 7e-5 here at most.
    assert (end - down) / (down - first) == pytest.approx((math.pi / 2 * 10) / 6, rel=7e-5)


def test_a_failed_proof_is_said_first(steel):
    """The verdict of a page whose proof failed tells not to cut."""
    found, cuts, _ = steel
    bad = dataclasses.replace(
        cuts[0],
        proof=dataclasses.replace(cuts[0].proof, passed=False, faults=("the jaws touched",)),
    )
    got = page_data(found, PROFILE, [bad], choices={}, notice=())
    assert not got.good
    assert got.verdict == "Do not cut: the jaws touched"
    assert 'class="verdict bad"' in page(got)


@pytest.mark.long
def test_each_set_up_that_is_cut_is_drawn_with_its_zeros():
    """Numbers from the programs' headers; both pictures; nothing for what is sawn."""
    _, cuts, data = data_of("concert-steel", (Stage.ROUGH,), "light-router")
    (shown,) = re.findall(r'<section class="card slot setups">.*?</section>', page(data))
    figures = shown.split("<figure>")[1:]
    programs = [f for cut in cuts for f in cut.programs]
    setups = list(dict.fromkeys((f.program.part, f.setup) for f in programs))
    assert len(figures) == len(setups) == 4
    for (part, setup), figure in zip(setups, figures, strict=True):
        assert figure.startswith(f"<figcaption><h3>{part.capitalize()} on {setup}")
        assert figure.count("<svg") == 2
        first = next(f for f in programs if (f.program.part, f.setup) == (part, setup))
        head = re.sub(r"\)\n\(", " ", first.text)
        (z,) = set(re.findall(r"set Z to (-?[\d.]+) mm", head))
        assert f"set Z = {z};" in figure
        x = re.search(r"or to (-?[\d.]+) mm with (?:the side of )?(T\d+)", head)
        assert f"set X = {x[1]}." in figure
        assert f"the side of {x[2]} with paper" in figure
        assert f"{part}-{setup}-air.ngc" in figure
    _, _, other = data_of("concert-steel", (Stage.ROUGH,), "light-router", sawn)
    assert re.findall(r"<h3>(\w+ on \w+): ", page(other)) == ["Nut on edge", "Saddle on edge"]
    assert "How it is held" not in page(dataclasses.replace(data, setups=()))


@pytest.mark.long
def test_the_set_ups_cost_the_page_little():
    """Two parts, each on face and on edge: at most 15 kB with their rules of style."""
    _, _, data = data_of("concert-steel", (Stage.ROUGH,), "light-router")
    bare = page(dataclasses.replace(data, setups=()))
    style = sum(len(line) for line in bare.splitlines() if line.startswith(".setup"))
    assert 0 < style < 1500
    assert len(page(data).encode()) - len(bare.encode()) + style < 15_000
