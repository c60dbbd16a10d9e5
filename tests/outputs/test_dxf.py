"""The DXF files: units, layers, closed true arcs, the notice, the same bytes each time."""

from __future__ import annotations

import io
import math
import os
import subprocess
import sys
import textwrap
from dataclasses import replace
from itertools import combinations, pairwise

import numpy as np
import pytest
import shapely
from ezdxf import recover

from blankcam.inputs import job_file
from blankcam.inputs.layers import changed, default_layers
from blankcam.inputs.machine_file import read_profile
from blankcam.instrument import heights
from blankcam.outputs.drawings import cut_files, flat, nesting
from blankcam.outputs.drawings.cut_offset import Offset, drawing_cautions
from blankcam.outputs.drawings.gauges import slot_gauge
from blankcam.outputs.render import dxf
from blankcam.parts import nut, saddle
from blankcam.parts.design import design
from blankcam.parts.stage import Stage
from blankcam.parts.top_curve import ArcCurve
from tests.conftest import demo_job, first_then_long
from tests.outputs.test_sheet import MANY

NOTICE = ("SAFETY NOTICE - READ BEFORE USE", "Wear eye protection.")


IN_ANOTHER_PROCESS = """
import sys
from blankcam.parts.silhouette import rectangle
from blankcam.outputs.drawings import cut_files
from blankcam.outputs.drawing import Drawing, Path
path = Path(chain=rectangle(0, 0, 9, 9), holds="outline", closed=True)
sys.stdout.buffer.write(cut_files.write(Drawing(paths=(path,)), notice=["x"]))
"""


def made(kind, extra=""):
    text = f'[instrument]\nname = "Larkfield"\nkind = "{kind}"\n{extra}\n[saddle]\ncompensation = "none"'
    job = job_file.parse(text, "job.toml")
    wanted = tuple(0.0 for _ in job.strings)
    start = heights.build(job)
    built = heights.with_compensation(
        start, saddle.reached_compensation(job, start, job.blanks.saddle, wanted)
    )
    return (
        job,
        nut.build(job, built, job.blanks.nut),
        saddle.build(job, built, job.blanks.saddle, wanted),
    )


def read_back(data):
    doc, auditor = recover.read(io.BytesIO(data))
    return doc, auditor


def chains(doc, layer):
    return list(doc.modelspace().query(f'LWPOLYLINE[layer=="{layer}"]'))


def widths(paths):
    """How wide each polyline of a DXF reaches."""
    for path in paths:
        x = [p[0] for p in path.get_points("xy")]
        yield max(x) - min(x)


@pytest.fixture(scope="module")
def classical():
    return made("classical")


@pytest.fixture(scope="module")
def steel():
    return made("steel-string")


@pytest.mark.parametrize("stage", list(Stage))
@pytest.mark.parametrize("kind", first_then_long(job_file.job.KINDS))
def test_every_kind_is_audited_clean_in_declared_millimetres(kind, stage):
    job, n, s = made(kind)
    for data in (
        cut_files.write_nut(n, stage, notice=NOTICE, title=["nut"]),
        cut_files.write_saddle(s, stage, notice=NOTICE, seat_top=job.saddle.slot_depth),
    ):
        doc, auditor = read_back(data)
        assert not auditor.errors
        assert not auditor.fixes
        assert doc.header["$INSUNITS"] == 4  # DXF reference: 4 = millimetres
        assert doc.header["$MEASUREMENT"] == 1  # DXF reference: 1 = metric
        assert doc.header["$ACADVER"] == "AC1015"  # R2000


def test_the_outline_is_closed_and_its_top_one_true_arc(steel):
    """43 x 9 mm, board arc of 304.8 mm (12 in) level across.

    By hand: sweep = 2 asin(21.5/304.8), bulge = tan(sweep/4); area = rectangle up to the ends of
    the arc and the circular segment over them.
    """
    top = ArcCurve(z0=9.0, k=0.0, radius=304.8, middle=21.5)
    n = replace(steel[1], length=43.0, top=top, slots=())
    doc, _ = read_back(cut_files.write_nut(n, Stage.FINAL, notice=NOTICE))
    (outline,) = chains(doc, "CUT")
    assert outline.closed
    points = list(outline.get_points("xyb"))
    sweep = 2 * math.asin(21.5 / 304.8)
    assert [b for *_, b in points] == pytest.approx([0, 0, math.tan(sweep / 4), 0], abs=1e-12)
    shoulder = 9 - (304.8 - math.sqrt(304.8**2 - 21.5**2))
    assert points[2][1] == pytest.approx(shoulder, abs=1e-9)


def test_a_tilted_top_is_drawn_within_a_micrometre(steel):
    """The board's arc sheared by a tilt is no arc any more; sampled along the drawn bulges."""
    from ezdxf.math import bulge_to_arc

    _, n, _ = steel
    (outline,) = chains(read_back(cut_files.write_nut(n, Stage.FINAL, notice=NOTICE))[0], "CUT")
    corners = list(outline.get_points("xyb"))
    worst = 0.0
    for (x0, z0, bulge), (x1, z1, _) in pairwise(corners):
        if bulge == 0:
            continue
        centre, begin, end, radius = bulge_to_arc((x0, z0), (x1, z1), bulge)
        angles = np.linspace(begin, begin + (end - begin) % math.tau, 101)
        x = centre.x + radius * np.cos(angles)
        z = centre.y + radius * np.sin(angles)
        # written out here, not taken from the code under test
        u = x - n.length / 2
        wanted = n.top.z0 + n.top.k * u + np.sqrt(n.top.radius**2 - u**2) - n.top.radius
        worst = max(worst, float(np.max(np.abs(z - wanted))))
    assert 0 < worst < 0.001


def test_a_slot_has_its_width_and_its_floor(steel):
    """Width and floor measured on the drawn slot by the second reader's bounding boxes."""
    from ezdxf import bbox

    _, n, _ = steel
    doc, _ = read_back(cut_files.write_nut(n, Stage.FINAL, notice=NOTICE))
    shapes = [c for c in chains(doc, "MARK") if c.closed]
    assert len(shapes) == len(n.slots) == 6
    for shape, slot in zip(shapes, n.slots, strict=True):
        box = bbox.extents([shape])
        assert box.extmin.y == pytest.approx(slot.floor_front, abs=1e-4)
        assert (box.extmin.x + box.extmax.x) / 2 == pytest.approx(slot.centre, abs=0.01)
        # a depth of less than half the width gives less than the full width at the mouth
        r, d = slot.radius, slot.depth_front
        chord = 2 * math.sqrt(r**2 - max(r - d, 0.0) ** 2)
        assert box.extmax.x - box.extmin.x == pytest.approx(chord, rel=0.03)


def test_the_notice_stands_before_the_header_and_beside_the_part_where_nothing_plots(steel):
    data = cut_files.write_nut(steel[1], Stage.ROUGH, notice=NOTICE)
    lines = data.decode("ascii").splitlines()
    comments = lines[1 : lines.index("SECTION") - 1 : 2]
    assert lines[0 : lines.index("SECTION") - 1 : 2] == ["999"] * len(comments)
    assert tuple(comments[: len(NOTICE)]) == NOTICE
    doc, _ = read_back(data)
    assert doc.layers.get("LOOK").dxf.plot == 0
    assert doc.layers.get("CUT").dxf.plot == 1
    said = [t.dxf.text for t in doc.modelspace().query('TEXT[layer=="LOOK"]')]
    assert set(NOTICE) <= set(said)
    assert {t.dxf.layer for t in doc.modelspace().query("TEXT")} == {"LOOK"}


EVERY_MACHINE = ("template-laser", "light-router", "bench-mill", "hand-bench")


@pytest.mark.parametrize("stage", list(Stage))
@pytest.mark.parametrize("name", EVERY_MACHINE)
def test_one_layer_and_one_colour_an_action_and_no_layer_empty(steel, name, stage):
    options = cut_files.options_for(read_profile(name))
    for part in (cut_files.write_nut(steel[1], stage, notice=NOTICE, options=options),
                 cut_files.write_saddle(steel[2], stage, notice=NOTICE, options=options)):  # fmt: skip
        doc, auditor = read_back(part)
        assert not auditor.errors
        used = {e.dxf.layer for e in doc.modelspace()}
        assert used == {"CUT", "MARK", "LOOK"}
        ours = {la.dxf.name: la.dxf.color for la in doc.layers if la.dxf.name in used}
        named = {
            line for line in part.decode().splitlines() if line in ("SEAT", "OUTLINE", "ROUGH")
        }
        assert not named
        assert len(set(ours.values())) == 3
        for e in doc.modelspace():
            assert e.dxf.color == 256  # DXF reference: 256 = as its layer
            assert e.dxf.layer == "LOOK" or e.dxf.linetype.upper() in ("BYLAYER", "CONTINUOUS")


@pytest.mark.parametrize("stage", list(Stage))
@pytest.mark.parametrize("name", EVERY_MACHINE)
def test_each_outline_is_cut_once(steel, name, stage):
    """Never the true one and the one moved out, never the rough one and the finished."""
    options = cut_files.options_for(read_profile(name))
    _, n, s = steel
    for part, write in ((n, cut_files.write_nut), (s, cut_files.write_saddle)):
        doc, _ = read_back(write(part, stage, notice=NOTICE, options=options))
        out = 0.0 if options.offset is None else options.offset.width
        wide = [w for w in widths(chains(doc, "CUT")) if abs(w - part.length) <= out + 1e-6]
        gauge = bool(options.templates and part.slots)  # the slot gauge is as long as the nut
        assert wide == pytest.approx([part.length + out] * (1 + gauge))


def test_what_is_said_stands_beside_the_part_and_the_extents_hold_all(steel):
    from ezdxf import bbox

    for name in EVERY_MACHINE:
        options = cut_files.options_for(read_profile(name))
        doc, _ = read_back(
            cut_files.write_nut(steel[1], Stage.ROUGH, notice=NOTICE * 8, options=options)
        )
        drawn = bbox.extents(doc.modelspace().query("LWPOLYLINE"))
        for text in doc.modelspace().query('TEXT[layer=="LOOK"]'):
            at = text.get_placement()[1]
            beside = at.x > drawn.extmax.x
            assert beside or text.dxf.text.isdecimal() or text.dxf.text in {"bass", "treble"}
        low, high = doc.header["$EXTMIN"], doc.header["$EXTMAX"]
        assert low[0] <= drawn.extmin.x + 1e-9
        assert high[1] >= drawn.extmax.y - 1e-9
        # a part of 9 mm: it, its plan below and what is said, not a page of words
        if not options.templates:
            assert high[1] - low[1] < 5 * (steel[1].height + steel[1].allowance)


@pytest.mark.parametrize("name", ["template-laser", "light-router"])
def test_a_file_to_cut_alone_holds_what_is_cut_and_nothing_else(steel, name):
    options = cut_files.options_for(read_profile(name))
    whole, _ = read_back(cut_files.write_nut(steel[1], Stage.ROUGH, notice=NOTICE, options=options))
    alone = replace(options, cut_alone=True)
    data = cut_files.write_nut(steel[1], Stage.ROUGH, notice=NOTICE, options=alone)
    doc, auditor = read_back(data)
    assert not auditor.errors
    assert {e.dxf.layer for e in doc.modelspace()} == {"CUT"}
    assert {e.dxftype() for e in doc.modelspace()} == {"LWPOLYLINE"}
    cut = [list(c.get_points("xyb")) for c in chains(doc, "CUT")]
    assert cut == [list(c.get_points("xyb")) for c in chains(whole, "CUT")]
    assert data.decode().startswith(f"999\n{NOTICE[0]}\n")
    x = [p[0] for points in cut for p in points]
    assert doc.header["$EXTMIN"][0] == pytest.approx(min(x))
    assert doc.header["$EXTMAX"][0] == pytest.approx(max(x))


def test_the_same_part_gives_the_same_bytes_in_another_process_too(steel):
    once = cut_files.write_nut(steel[1], Stage.ROUGH, notice=NOTICE)
    assert once == cut_files.write_nut(steel[1], Stage.ROUGH, notice=NOTICE)
    made_twice = {
        subprocess.run(
            [sys.executable, "-c", IN_ANOTHER_PROCESS],
            check=True, capture_output=True, env={**os.environ, "PYTHONHASHSEED": seed},
        ).stdout
        for seed in ("1", "2")
    }  # fmt: skip
    assert len(made_twice) == 1
    assert len(made_twice.pop()) > 10_000


def test_nothing_is_written_into_the_home_folder(tmp_path):
    """Importing ezdxf plainly writes a list of fonts into ~/.cache/ezdxf."""
    code = (
        "import sys; from blankcam.outputs.drawings import cut_files; assert 'ezdxf' not in sys.modules\n"
        "from blankcam.outputs.drawing import Drawing, Path\n"
        "from blankcam.parts.silhouette import rectangle\n"
        "p = Path(chain=rectangle(0, 0, 9, 9), holds='outline', closed=True)\n"
        "cut_files.write(Drawing(paths=(p,)), notice=['x'])\n"
    )
    clean = {k: v for k, v in os.environ.items() if not k.startswith("XDG_")}
    subprocess.run(
        [sys.executable, "-c", code],
        check=True, env={**clean, "HOME": str(tmp_path)}, cwd=tmp_path,
    )  # fmt: skip
    assert list(tmp_path.rglob("*")) == []


def test_r12_has_the_same_arcs_and_says_aloud_that_it_has_no_unit(steel, caplog):
    _, n, _ = steel
    old, _ = read_back(
        cut_files.write_nut(n, Stage.FINAL, notice=NOTICE, options=cut_files.Options(release="R12"))
    )
    new, _ = read_back(cut_files.write_nut(n, Stage.FINAL, notice=NOTICE))
    (outline,) = old.modelspace().query('POLYLINE[layer=="CUT"]')
    points = [(v.dxf.location.x, v.dxf.location.y, v.dxf.bulge) for v in outline.vertices]
    assert np.allclose(points, list(chains(new, "CUT")[0].get_points("xyb")), atol=1e-12)
    assert outline.is_closed
    data = cut_files.write_nut(
        n, Stage.FINAL, notice=NOTICE, options=cut_files.Options(release="R12")
    )
    assert "choose millimetres" in drawing_cautions("R12", None)[0]
    assert not caplog.records  # the library's own warning must not reach the terminal
    assert b"R12 cannot say so itself" in data.split(b"SECTION")[0]


@pytest.mark.parametrize("text", ["%%u\\P{x}\n0\nEOF", "a\x00b\x1b[31m", "\u202eevil", "é" * 500])
def test_hostile_words_cannot_break_the_file(steel, text):
    data = cut_files.write_nut(steel[1], Stage.FINAL, notice=NOTICE, title=[text])
    doc, auditor = read_back(data)
    assert not auditor.errors
    assert data.isascii()
    assert data.count(b"\nEOF") == 1
    title = [t.dxf.text for t in doc.modelspace().query('TEXT[layer=="LOOK"]')]
    assert textwrap.wrap(dxf.plain(text), dxf.LONGEST)[0] in title


def test_left_and_right_handed_nuts_are_told_apart_by_the_bass_slot(steel):
    """Seen from the bridge, x to the right: bass on the left, for a left-handed on the right."""
    _, right, _ = steel
    _, left, _ = made("steel-string", 'handed = "left"')
    for n, bass_is_left in ((right, True), (left, False)):
        doc, _ = read_back(cut_files.write_nut(n, Stage.FINAL, notice=NOTICE))
        reach = [
            (min(p[0] for p in c), max(p[0] for p in c) - min(p[0] for p in c))
            for c in (list(s.get_points("xy")) for s in chains(doc, "MARK") if s.closed)
        ]
        widest = max(reach, key=lambda w: w[1])
        assert (widest == min(reach)) is bass_is_left


KERF = cut_files.Options(offset=Offset(kind="kerf", width=0.2), templates=True)


def test_the_kerf_is_allowed_for_in_what_is_cut_and_said_to_be_so_once(steel):
    """Drawn width = wanted + kerf (snijlab and others, reference table): 44.00 -> 44.20."""
    _, n, _ = steel
    data = cut_files.write_nut(n, Stage.FINAL, notice=NOTICE, options=KERF)
    doc, auditor = read_back(data)
    assert not auditor.errors
    square, *cut = sorted(widths(chains(doc, "CUT")))
    assert square == 20.0
    assert len(cut) == 4  # the part, the slot gauge, two for the radius
    assert n.length + 0.2 in [pytest.approx(w, abs=1e-9) for w in cut]
    assert n.length in [pytest.approx(w, abs=1e-9) for w in widths(chains(doc, "LOOK"))]
    said = data.decode().split("SECTION")[0]
    assert "half a kerf of 0.200 mm" in said
    assert "Never both" in said
    assert "CUT (colour 1): cut through, last." in said


def test_a_routers_tool_goes_its_radius_beside(steel):
    _, _, s = steel
    options = cut_files.Options(offset=Offset(kind="tool", width=3.175), templates=True)
    doc, _ = read_back(cut_files.write_saddle(s, Stage.ROUGH, notice=NOTICE, options=options))
    beside = next(
        c for c in chains(doc, "CUT")
        if next(widths([c])) == pytest.approx(s.length + 3.175, abs=1e-9)
    )  # fmt: skip
    assert len([b for *_, b in beside.get_points("xyb") if b]) >= 4  # its corners are round


def test_marks_come_before_cuts_and_layers_take_a_profiles_names(steel):
    rows = ({"holds": "slots", "name": "ENGRAVE"}, {"holds": "outline", "name": "THROUGH"})
    options = cut_files.Options(layers=changed(rows))
    doc, _ = read_back(cut_files.write_nut(steel[1], Stage.FINAL, notice=NOTICE, options=options))
    order = [e.dxf.layer for e in doc.modelspace().query("LWPOLYLINE")]
    assert order[:7] == ["ENGRAVE"] * 6 + ["THROUGH"]
    data = cut_files.write_nut(steel[1], Stage.FINAL, notice=NOTICE)
    doc, _ = read_back(data)
    order = [e.dxf.layer for e in doc.modelspace().query("LWPOLYLINE")]
    assert order.index("CUT") > max(i for i, n in enumerate(order) if n == "MARK")


def test_gauges_part_and_plan_do_not_overlap(steel):
    from ezdxf import bbox

    for options in (KERF, cut_files.Options(templates=True)):
        doc, _ = read_back(
            cut_files.write_nut(steel[1], Stage.ROUGH, notice=NOTICE, options=options)
        )
        boxes = [bbox.extents([e]) for e in chains(doc, "CUT")]
        spans = sorted((b.extmin.y, b.extmax.y) for b in boxes)
        assert all(low[1] < high[0] for low, high in pairwise(spans))


@pytest.mark.parametrize("name", ["template-laser", "light-router", "bench-mill", "hand-bench"])
def test_each_machine_gets_the_offset_it_needs(steel, name):
    profile = read_profile(name)
    options = cut_files.options_for(profile)
    data = cut_files.write_nut(steel[1], Stage.FINAL, notice=NOTICE, options=options)
    doc, auditor = read_back(data)
    assert not auditor.errors
    cut = list(widths(chains(doc, "CUT")))
    out = {"template-laser": 0.2, "light-router": 3.0}.get(name, 0.0)
    assert max(w for w in cut if w < steel[1].length + 4) == pytest.approx(steel[1].length + out)
    # plans: nothing to cut by mistake
    plans = [
        c for c in chains(doc, "LOOK") if c.closed and min(p[1] for p in c.get_points("xy")) < -6
    ]
    assert bool(plans) is (name in ("bench-mill", "hand-bench"))
    assert any(
        "offset to zero" in t for t in drawing_cautions(options.release, options.offset)
    ) is bool(options.offset)
    assert (len(cut) > 1) is (name in ("template-laser", "light-router"))


def test_a_batch_on_one_sheet_of_stock_is_cut_without_overlap(steel, classical):
    parts = [("Larkfield 1 nut", steel[1]), ("saddle", steel[2]), ("two", classical[1])]
    way = Offset(kind="kerf", width=0.2)
    drawn = nesting.outlines(parts, Stage.FINAL, way=way, templates=True)
    sheet = nesting.Stock(width=200, height=160, spacing=3.0)
    placed = nesting.laid_out(drawn, sheet, way=way)
    data = cut_files.write(placed, notice=NOTICE, options=cut_files.Options(offset=way))
    doc, auditor = read_back(data)
    assert not auditor.errors
    from ezdxf import bbox

    boxes = [bbox.extents([e]) for e in chains(doc, "CUT")]
    assert len(boxes) == 3 + 2 + 2 * 2 + 1  # parts, slot gauges, two pairs of radii, the square
    for one, other in combinations(boxes, 2):
        assert not one.has_overlap(other)


def test_the_boards_surface_is_drawn_for_the_eye(steel):
    job, n, _ = steel
    drop, radius = job.nut.seat_drop, job.board.radius.nut
    data = cut_files.write_nut(n, Stage.FINAL, notice=NOTICE, board=(drop, radius))
    doc, _ = read_back(data)
    (a, b) = next(
        list(c.get_points("xyb")) for c in chains(doc, "LOOK") if len(c) == 2 and not c.closed
    )
    # sagitta of a chord as wide as the nut: R - sqrt(R² - (W/2)²), by hand
    assert a[1] == pytest.approx(drop - (radius - math.sqrt(radius**2 - (n.length / 2) ** 2)))
    assert abs(a[2]) == pytest.approx(math.tan(math.asin(n.length / 2 / radius) / 2))
    assert (a[0], b[0]) == pytest.approx((0.0, n.length))


def test_leaving_every_layer_out_is_refused(steel):
    rows = tuple(
        {"holds": r.holds, "work": "omit"} for r in default_layers() if r.holds != "notice"
    )
    options = cut_files.Options(layers=changed(rows))
    with pytest.raises(ValueError, match="left out"):
        cut_files.write_nut(steel[1], Stage.FINAL, notice=NOTICE, options=options)


def test_the_numbers_under_a_part_stand_under_their_own_strings():
    """24 strings closer than their numbers are wide: each is nearest to its own, none meet."""
    found = design(job_file.parse(MANY, "many.toml"))
    for part, drawing in (
        (found.nut, flat.nut_elevation(found.nut, Stage.ROUGH)),
        (found.saddle, flat.saddle_elevation(found.saddle, Stage.ROUGH)),
    ):
        strings = part.slots or part.strings
        centres = {str(s.string): s.centre for s in strings}
        numbers = [w for w in drawing.words if w.text.isdecimal()]
        assert len(numbers) == len(centres) == 24
        for word in numbers:
            at = word.at[0]
            assert min(centres, key=lambda n, at=at: abs(centres[n] - at)) == word.text
        boxes = [shapely.Polygon(w.corners()) for w in drawing.words]
        assert not any(a.intersects(b) for a, b in combinations(boxes, 2))


@pytest.mark.parametrize(("job", "left"), [("concert-steel", "bass"), ("left-classical", "treble")])
def test_bass_and_treble_stand_under_their_ends(job, left):
    found = design(job_file.load(str(demo_job(job))))
    for drawing in (
        flat.nut_elevation(found.nut, Stage.ROUGH),
        flat.saddle_elevation(found.saddle, Stage.ROUGH),
    ):
        ends = {w.text: w.at[0] for w in drawing.words if not w.text.isdecimal()}
        assert set(ends) == {"bass", "treble"}
        assert min(ends, key=ends.get) == left


def test_the_numbers_on_a_slot_gauge_stay_on_it_and_by_their_marks():
    """24 slots closer than their numbers are wide: two rows, none off the strip."""
    part = design(job_file.parse(MANY, "many.toml")).nut
    gauge = slot_gauge(part)
    places = {int(text): at for at, text in gauge.words if text.isdigit()}
    assert len(places) == len(part.slots) == 24
    for slot in part.slots:
        assert abs(places[slot.string][0] - slot.centre) < 1.0
        assert 1.5 < places[slot.string][0] < part.length - 1.5
    rows = {}
    for x, y in places.values():
        rows.setdefault(y, []).append(x)
    assert all(b - a > 3.39 for row in rows.values() for a, b in pairwise(sorted(row)))


@pytest.mark.parametrize("stem", ["five-course-cittern", "short-courses", "wide-bass"])
@pytest.mark.parametrize("name", ["nut", "saddle"])
def test_no_word_between_the_two_views_meets_the_lower_one(stem, name):
    """Numbers on two rows, and which end is which under them."""
    part = getattr(design(job_file.load(str(demo_job(stem)))), name)
    under = flat.saddle_elevation if name == "saddle" else flat.nut_elevation
    views = {"nut": flat.nut_drawing, "saddle": flat.saddle_drawing}
    whole = views[name](part, Stage.ROUGH, None)
    words = {w.text: w.at[1] for w in under(part, Stage.ROUGH).words}
    assert len(set(words.values())) >= 2
    plan = [p for p in whole.paths if p.holds == "plan"]
    top = max(y for p in plan for segment in p.chain for _, y in (segment.start, segment.end))
    assert top <= min(words.values()) - 1.0
