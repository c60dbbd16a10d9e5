"""The 1:1 sheet: sizes through pypdf and a rendering, numbers against the report, no overlaps."""

from __future__ import annotations

import io
import re
import shutil
import subprocess
import xml.etree.ElementTree as ET
from itertools import combinations, pairwise

import numpy as np
import pytest
import shapely
import shapely.affinity
from hypothesis import given
from hypothesis import strategies as st
from pypdf import PdfReader

from blankcam.inputs import job_file
from blankcam.machining.files import files
from blankcam.outputs.drawing import spread
from blankcam.outputs.papers import sheet
from blankcam.outputs.render import pdf
from blankcam.outputs.tables import report
from blankcam.outputs.typeface import width
from blankcam.parts.curve import points
from blankcam.parts.design import design
from blankcam.parts.stage import Stage
from tests.conftest import DEMO_JOBS, STEEL, first_then_long, needed

NOTICE = ("SAFETY NOTICE - READ BEFORE USE", "Wear eye protection.", "Follow local codes.")
TWELVE = """[instrument]
name = "Twelve"
kind = "steel-string"
[board]
width_at_nut = "48 mm"
""" + "".join(
    f'[[strings]]\nnumber = {2 * course - second}\nnote = "{note}"\ngauge = "{gauge} in"\nmake = "wound steel"\ncourse = {course}\n'
    for course, pair in enumerate(
        (("E2", 0.047), ("A2", 0.039), ("D3", 0.030), ("G3", 0.023), ("B3", 0.014), ("E4", 0.010))[::-1], 1
    )
    for second, (note, gauge) in enumerate((pair, pair))
)  # fmt: skip


ODD = {  # sizes at the edge of what a job may say
    "wide": """[instrument]
name = "Wide"
kind = "classical"
[board]
width_at_nut = "120 mm"
radius = "flat"
[saddle]
slot_length = "148 mm"
string_span = "120 mm"
compensation = "none"
[blanks]
nut = { length = "130 mm", height = "12 mm", thickness = "5.2 mm" }
saddle = { length = "160 mm", height = "14 mm", thickness = "3.2 mm" }
""",
    "thick": """[instrument]
name = "Thick"
kind = "bass"
[nut]
seat_width = "12 mm"
tilt = "3 deg"
seat_drop = "9 mm"
[blanks]
nut = { length = "60 mm", height = "20 mm", thickness = "12.5 mm" }
saddle = { length = "80 mm", height = "12 mm", thickness = "3.2 mm" }
""",
    "high": """[instrument]
name = "High"
kind = "electric"
[saddle]
slot_depth = "14 mm"
[blanks]
nut = { length = "60 mm", height = "12 mm", thickness = "6 mm" }
saddle = { length = "90 mm", height = "35 mm", thickness = "3.2 mm" }
""",
    "nothing left standing": """[instrument]
name = "None"
kind = "ukulele"
[nut]
allowance = "0 mm"
hold_back = "0 mm"
[saddle]
allowance = "0 mm"
""",
}


def job_of(name):
    if name in ODD:
        return job_file.parse(ODD[name], "odd.toml")
    if name == "twelve":
        return job_file.parse(TWELVE, "twelve.toml")
    found = [p for p in DEMO_JOBS if p.stem == name]
    if found:
        return job_file.load(str(found[0]))
    return job_file.parse(f'[instrument]\nname = "Quillmere"\nkind = "{name}"', "job.toml")


FIRST = [STEEL.stem, "twelve"]
OTHERS = [p.stem for p in DEMO_JOBS if p != STEEL] + ["ukulele", "bass", "banjo", *ODD]


@pytest.fixture(scope="module", params=first_then_long([*FIRST, *OTHERS], first=len(FIRST)))
def made(request):
    return design(job_of(request.param))


@pytest.fixture(scope="module")
def six():
    return design(job_of(STEEL.stem))


@pytest.mark.parametrize(("paper", "size"), [("A4", (210.0, 297.0)), ("Letter", (215.9, 279.4))])
def test_the_paper_has_its_size(six, paper, size):
    """A4 by ISO 216; Letter 8.5 x 11 in. Not cut to whole points."""
    reader = PdfReader(io.BytesIO(sheet.pdf(six, notice=NOTICE, paper=paper)))
    for page in reader.pages:
        box = page.mediabox
        assert (float(box.width) / 72 * 25.4, float(box.height) / 72 * 25.4) == pytest.approx(
            size, abs=0.001
        )
    assert reader.trailer["/Root"]["/ViewerPreferences"]["/PrintScaling"] == "/None"


def strokes_mm(page):
    """Straight two-point strokes of a page in mm, by the page's own commands and scale."""
    text = page.get_contents().get_data().decode("latin-1")
    scale = max(float(s) for s in re.findall(r"([\d.]+) 0 0 \1 0 0 cm", text))
    number = r"(-?[\d.]+)"
    for found in re.finditer(rf"{number} {number} m {number} {number} l\s+S\b", text):
        yield [float(n) * scale / 72 * 25.4 for n in found.groups()]


def test_the_rules_and_the_strip_have_their_lengths(made):
    reader = PdfReader(io.BytesIO(sheet.pdf(made, notice=NOTICE)))
    for page in reader.pages:
        level = [abs(c - a) for a, b, c, d in strokes_mm(page) if abs(b - d) < 1e-6]
        for wanted in (100.0, 101.6):  # 4 in
            assert min(abs(n - wanted) for n in level) < 0.001


def test_the_strip_carries_every_slot_from_the_left_end(made):
    """Tick marks drawn, found again in the PDF's own commands relative to the strip's corner."""
    reader = PdfReader(io.BytesIO(sheet.pdf(made, notice=NOTICE)))
    for page, part in zip(reader.pages[: len(made.parts)], made.parts, strict=True):
        placed = part.slots if part.name == "nut" else part.strings
        centres = [s.centre for s in placed]
        left = sheet.MARGIN + 15.0
        ticks = sorted(
            a - left for a, b, c, d in strokes_mm(page)
            if abs(a - c) < 1e-6 and abs(abs(d - b) - 4.5) < 1e-4 and a > left - 1e-6 and b > 60
        )  # fmt: skip
        assert ticks == pytest.approx(sorted(centres), abs=0.001)


@pytest.mark.long
@pytest.mark.oracle
def test_a_rule_measures_100_mm_in_a_rendering(six, tmp_path):
    """1200 dpi: a pixel is 0.021 mm."""
    needed(shutil.which("pdftoppm"), "pdftoppm")
    (tmp_path / "s.pdf").write_bytes(sheet.pdf(six, notice=NOTICE))
    subprocess.run(
        ["pdftoppm", "-r", "1200", "-gray", "-f", "3", "-l", "3", "-x", "400", "-y", "12600",
         "-W", "5400", "-H", "1000", "s.pdf", "s"],
        check=True, cwd=tmp_path, timeout=120,
    )  # fmt: skip
    (made,) = tmp_path.glob("s*.pgm")
    raw = made.read_bytes()
    width, height = (int(n) for n in raw.split(b"\n", 3)[1].split())
    dark = np.frombuffer(raw[-width * height :], np.uint8).reshape(height, width) < 128
    pixel = 25.4 / 1200
    line = 0.25 * pdf.THINNER  # a row of the rule runs half a line beyond both its ends
    runs = [longest(row) * pixel for row in dark]
    assert min(abs(r - line - 100.0) for r in runs if r > 90) < 0.05
    assert min(abs(r - line - 101.6) for r in runs if r > 90) < 0.05


def longest(row):
    """Longest run of dark pixels."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], row.astype(int), [0]])))
    return int(np.max(edges[1::2] - edges[::2])) if len(edges) else 0


def box(words):
    """The ground a line of text covers: from the baseline to its capitals' height."""
    wide = width(words.text, words.height, bold=words.bold)
    a, b = words.at
    start = {"left": 0.0, "middle": wide / 2, "right": wide}[words.anchor]
    flat = shapely.box(a - start, b, a - start + wide, b + words.height)
    return shapely.affinity.rotate(flat, words.turn, origin=words.at)


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_no_text_overlaps_another_or_leaves_the_page(made, paper):
    wide, tall = sheet.PAPERS[paper]
    room = shapely.box(5, 5, wide - 5, tall - 5)
    for page in sheet.pages(made, NOTICE, paper):
        boxes = [(w.text, box(w)) for w in page.words]
        for text, ground in boxes:
            assert room.contains(ground), text
        for (one, a), (other, b) in combinations(boxes, 2):
            assert not a.intersects(b), (one, other)


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_no_line_runs_through_text_and_none_leaves_the_page(made, paper):
    wide, tall = sheet.PAPERS[paper]
    for page in sheet.pages(made, NOTICE, paper):
        left, low, right, high = page.bounds()
        assert left > 5
        assert low > 5
        assert right < wide - 5
        assert high < tall - 5
        drawn = shapely.union_all(
            [shapely.LineString(list(points(p.chain, 0.05))) for p in page.paths]
        )
        for words in page.words:
            assert not drawn.intersects(box(words)), words.text


def numbers(page):
    """Every number printed on a page, with how many decimals it has."""
    for word in page.extract_text().split():
        if re.fullmatch(r"[-+]?\d+\.\d+", word):
            yield float(word), len(word.split(".")[1])


def test_drawn_text_parsed_back_is_the_report(made):
    """Every centre, width, floor and depth of the report stands on the sheet, rounded."""
    reader = PdfReader(io.BytesIO(sheet.pdf(made, notice=NOTICE)))
    shown = {p.name: set(numbers(reader.pages[i])) for i, p in enumerate(made.parts)}
    said = report.report(made, stage=Stage.ROUGH, machine="x")
    assert {"nut", "saddle"} & said.keys() == shown.keys()

    def stands(value, places, page):
        return any(n == places and abs(x - value) <= 0.501 * 10**-places for x, n in page)

    for name, page in shown.items():
        for slot in said[name].get("slots", ()):
            assert stands(slot["centre"], 2, page)
            assert stands(slot["centre"] / 25.4, 3, page)
            assert stands(slot["width"], 3, page)
            assert stands(slot["depth_front"], 3, page)
            assert stands(slot["floor_front"], 2, page)
        for seat in said[name].get("strings", ()):
            assert stands(seat["centre"], 2, page)
            assert stands(seat["setback"], 2, page)
            assert stands(seat["height"] + seat["residual"], 2, page)
        for key in ("length", "height", "thickness"):
            assert stands(said[name][key], 2, page)


def test_the_notice_is_on_the_sheet_whole(six):
    reader = PdfReader(io.BytesIO(sheet.pdf(six, notice=NOTICE)))
    text = " ".join(p.extract_text() for p in reader.pages)
    for line in NOTICE:
        assert line in text


def test_many_cautions_go_on_to_another_page(six):
    lines = tuple(f"line {i} of a long notice" for i in range(90))
    made = sheet.pages(six, lines, "Letter")
    assert len(made) > 3
    shown = [w.text for p in made for w in p.words]
    assert all(line in shown for line in lines)
    for page in made:
        for a, b in combinations([box(w) for w in page.words], 2):
            assert not a.intersects(b)


def test_the_same_job_gives_the_same_bytes(six):
    assert sheet.pdf(six, notice=NOTICE) == sheet.pdf(six, notice=NOTICE)
    assert sheet.svg(six, notice=NOTICE) == sheet.svg(six, notice=NOTICE)


def test_svg_is_in_millimetres_with_true_arcs(made):
    space = "{http://www.w3.org/2000/svg}"
    for data in sheet.svg(made, notice=NOTICE):
        root = ET.fromstring(data)
        assert root.get("width") == "210mm"
        assert root.get("viewBox") == "0 0 210 297"
        assert len(root.findall(f".//{space}path")) > 100
    first = ET.fromstring(sheet.svg(made, notice=NOTICE)[0])
    slots = [p.get("d") for p in first.iter(f"{space}path") if p.get("class") == "outline"]
    assert any("A" in d for d in slots)


@pytest.mark.parametrize("name", ["<script>&'\"", "\x1b[31m\n%PDF", "é" * 400, "語"])
def test_hostile_names_stay_text(name):
    text = '[instrument]\nname = "x"\nkind = "ukulele"'
    found = design(job_file.parse(text, "u.toml"))
    from dataclasses import replace

    job = replace(found.job, instrument=replace(found.job.instrument, name=name))
    found = replace(found, job=job)
    assert len(PdfReader(io.BytesIO(sheet.pdf(found, notice=NOTICE))).pages) >= 3
    for data in sheet.svg(found, notice=NOTICE):
        root = ET.fromstring(data)
        assert all(e.tag.split("}")[1] in ("svg", "title", "rect", "g", "path", "text")
                   for e in root.iter())  # fmt: skip


@pytest.mark.property
@given(st.lists(st.floats(0, 60), min_size=1, max_size=14), st.floats(0.5, 4))
def test_labels_are_spread_to_their_pitch_in_their_order(places, pitch):
    moved = spread(places, pitch)
    order = sorted(range(len(places)), key=lambda i: places[i])
    for i, j in pairwise(order):
        assert moved[j] - moved[i] >= pitch - 1e-9
    assert np.mean(moved) == pytest.approx(np.mean(places), abs=1e-9)  # least squares keeps it


@pytest.mark.parametrize(
    ("gauge", "final", "start"),
    [(0.053, 0.056, 0.022), (0.024, 0.026, 0.022), (0.013, 0.016, 0.013), (0.010, 0.013, 0.010)],
)
def test_files_for_a_slot(gauge, final, start):
    """Slot = gauge + 0.003 in; slots are started with a 0.022 in file: common practice, no source.
    The final file is never wider than the slot.
    """
    chosen = files((gauge + 0.003) * 25.4)
    assert (chosen.final, chosen.start, chosen.fits) == (final, start, True)
    assert not files(0.2).fits
