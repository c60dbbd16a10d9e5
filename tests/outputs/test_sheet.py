"""The 1:1 sheet: sizes through pypdf and a rendering, numbers against the report, no overlaps."""

from __future__ import annotations

import functools
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
from blankcam.inputs.layers import default_layers
from blankcam.inputs.machine_file import read_profile
from blankcam.machining.files import files
from blankcam.outputs.drawing import spread
from blankcam.outputs.drawings import views
from blankcam.outputs.papers import flow, sheet
from blankcam.outputs.papers.slot_work import SlotsCut
from blankcam.outputs.render import inks, pdf
from blankcam.outputs.tables import report
from blankcam.outputs.typeface import width
from blankcam.parts.curve import points
from blankcam.parts.design import design
from blankcam.parts.stage import Stage
from blankcam.workflows.layout import slot_decisions
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


MANY = """[instrument]
name = "Twenty-four"
kind = "steel-string"
[board]
width_at_nut = "62 mm"
[saddle]
string_span = "72 mm"
slot_length = "90 mm"
[blanks]
nut = { length = "70 mm", height = "10 mm", thickness = "6.5 mm" }
saddle = { length = "95 mm", height = "12 mm", thickness = "3.2 mm" }
""" + "".join(
    f'[[strings]]\nnumber = {n}\nnote = "{note}"\ngauge = "{gauge} in"\nmake = "{make}"\n'
    for n, (note, gauge, make) in enumerate(
        ((note, gauge, make)
         for gauge, make, notes in (
             (0.010, "plain steel", "E4 D4 C4 B3 A3 G3 F3 E3"),
             (0.020, "plain steel", "D3 C3 B2 A2 G2 F2 E2 D2"),
             (0.040, "wound steel", "C2 B1 A1 G1 F1 E1 D1 C1"))
         for note in notes.split()), 1
    )
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
    if name == "many":
        return job_file.parse(MANY, "many.toml")
    if name == "twelve":
        return job_file.parse(TWELVE, "twelve.toml")
    found = [p for p in DEMO_JOBS if p.stem == name]
    if found:
        return job_file.load(str(found[0]))
    return job_file.parse(f'[instrument]\nname = "Quillmere"\nkind = "{name}"', "job.toml")


OTHERS = [p.stem for p in DEMO_JOBS if p != STEEL] + [
    "many",
    "twelve",
    "ukulele",
    "bass",
    "banjo",
    *ODD,
]


EACH = first_then_long([STEEL.stem, *OTHERS])


@pytest.fixture(scope="module", params=EACH)
def name(request):
    return request.param


@pytest.fixture(scope="module")
def made(name):
    return design(job_of(name))


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


def test_the_rules_and_the_strip_have_their_lengths(name):
    reader = PdfReader(io.BytesIO(printed(name)))
    for page in reader.pages:
        level = [abs(c - a) for a, b, c, d in strokes_mm(page) if abs(b - d) < 1e-6]
        for wanted in (100.0, 101.6):  # 4 in
            assert min(abs(n - wanted) for n in level) < 0.001


def names(page, part):
    """Whether a page's heading says that it is of this part."""
    return re.search(rf": {part}\b", page.extract_text().split("\n")[0] + page.extract_text())


def test_the_strip_carries_every_slot_from_the_left_end(name, made):
    """Tick marks drawn, found again in the PDF's own commands relative to the strip's corner."""
    reader = PdfReader(io.BytesIO(printed(name)))
    for part in made.parts:
        page = next(p for p in reader.pages if names(p, part.name))
        placed = part.slots if part.name == "nut" else part.strings
        centres = [s.centre for s in placed]
        left = flow.MARGIN + 15.0
        ticks = sorted(
            a - left for a, b, c, d in strokes_mm(page)
            if abs(a - c) < 1e-6 and abs(abs(d - b) - views.TICK) < 1e-4 and b > 60
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
    line = 0.25 * inks.THINNER  # a row of the rule runs half a line beyond both its ends
    runs = [longest(row) * pixel for row in dark]
    assert min(abs(r - line - 100.0) for r in runs if r > 90) < 0.05
    assert min(abs(r - line - 101.6) for r in runs if r > 90) < 0.05


def longest(row):
    """Longest run of dark pixels."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], row.astype(int), [0]])))
    return int(np.max(edges[1::2] - edges[::2])) if len(edges) else 0


@functools.lru_cache(maxsize=4)
def drawn_pages(name, paper):
    """The sheet of a job, drawn once for the tests that look at its pages."""
    return sheet.pages(design(job_of(name)), NOTICE, paper)


@functools.lru_cache(maxsize=2)
def printed(name):
    return pdf.render(drawn_pages(name, "A4"), flow.PAPERS["A4"], name)


def crossing(grounds):
    """Which of them meet, as pairs of places."""
    tree = shapely.STRtree(grounds)
    found = zip(*tree.query(grounds, predicate="intersects"), strict=True)
    return [(i, j) for i, j in found if i < j]


def box(words):
    """The ground a line of text covers: from the baseline to its capitals' height."""
    wide = width(words.text, words.height, bold=words.bold)
    a, b = words.at
    start = {"left": 0.0, "middle": wide / 2, "right": wide}[words.anchor]
    flat = shapely.box(a - start, b, a - start + wide, b + words.height)
    return shapely.affinity.rotate(flat, words.turn, origin=words.at)


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_no_text_overlaps_another_or_leaves_the_page(name, paper):
    wide, tall = flow.PAPERS[paper]
    room = shapely.box(5, 5, wide - 5, tall - 5)
    for page in drawn_pages(name, paper):
        boxes = [box(w) for w in page.words]
        for words, ground in zip(page.words, boxes, strict=True):
            assert room.contains(ground), words.text
        for i, j in crossing(boxes):
            raise AssertionError((page.words[i].text, page.words[j].text))


def printed_words(data, folder):
    """Each page's words and their boxes in points, as poppler finds them in the PDF itself."""
    (folder / "s.pdf").write_bytes(data)
    subprocess.run(["pdftotext", "-bbox", "s.pdf", "s.html"], check=True, cwd=folder, timeout=60)
    text = (folder / "s.html").read_text(encoding="utf-8")
    box = re.compile(r'<word xMin="(.*?)" yMin="(.*?)" xMax="(.*?)" yMax="(.*?)">(.*?)</word>')
    for page in text.split("<page ")[1:]:
        size = re.match(r'width="(.*?)" height="(.*?)"', page)
        yield (
            tuple(map(float, size.groups())),
            [(m[5], shapely.box(*map(float, m.groups()[:4]))) for m in box.finditer(page)],
        )


def letters_of(ground):
    """What a word's letters cover of its box: that is as high as the font's tallest accents."""
    x0, y0, x1, y1 = ground.bounds
    turned = y1 - y0 > x1 - x0
    e = 0.16 * min(x1 - x0, y1 - y0)
    return shapely.box(x0 + e, y0, x1 - e, y1) if turned else shapely.box(x0, y0 + e, x1, y1 - e)


@pytest.mark.oracle
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_no_printed_word_overlaps_another_or_is_too_small(name, paper, tmp_path):
    """Boxes from the PDF itself by poppler; 8 points are about the least that reads at a bench."""
    needed(shutil.which("pdftotext"), "pdftotext")
    data = pdf.render(drawn_pages(name, paper), flow.PAPERS[paper], "words")
    sizes = [float(n) for n in re.findall(r"/F\d+ ([\d.]+) Tf", data.decode("latin-1"))]
    assert sizes
    assert min(sizes) * 72 / 25.4 >= 7.99
    for (wide, tall), words in printed_words(data, tmp_path):
        assert len(words) > 40
        room = shapely.box(14, 14, wide - 14, tall - 14)
        grounds = [letters_of(ground) for _, ground in words]
        for (word, _), ground in zip(words, grounds, strict=True):
            assert room.contains(ground), word
        for i, j in crossing(grounds):
            both = grounds[i].intersection(grounds[j])
            assert both.area < 0.3, (words[i][0], words[j][0])


IN_BLACK = {"words", *(rule.holds for rule in default_layers())} - {"rough", "finished"}
"""What is drawn at 1:1 and in tables; a card's words in its own inks have tests of their own."""


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_no_line_runs_through_text_and_none_leaves_the_page(name, paper):
    wide, tall = flow.PAPERS[paper]
    for page in drawn_pages(name, paper):
        left, low, right, high = page.bounds()
        assert left > 5
        assert low > 5
        assert right < wide - 5
        assert high < tall - 5
        drawn = shapely.union_all(
            [
                shapely.LineString(list(points(p.chain, 0.05)))
                for p in page.paths
                if p.holds in IN_BLACK
            ]
        )
        for words in (w for w in page.words if w.holds in IN_BLACK):
            assert not drawn.intersects(box(words)), words.text


def numbers(page):
    """Every number printed on a page, with how many decimals it has."""
    for word in page.extract_text().split():
        if re.fullmatch(r"[-+]?\d+\.\d+", word):
            yield float(word), len(word.split(".")[1])


def test_drawn_text_parsed_back_is_the_report(name, made):
    """Every centre, width, floor and depth of the report stands on the sheet, rounded."""
    reader = PdfReader(io.BytesIO(printed(name)))
    shown = {
        part.name: {n for page in reader.pages if names(page, part.name) for n in numbers(page)}
        for part in made.parts
    }
    said = report.report(made, stage=Stage.ROUGH, machine="x")
    assert {"nut", "saddle"} & said.keys() == shown.keys()

    def stands(value, places, page):
        return any(n == places and abs(x - value) <= 0.501 * 10**-places for x, n in page)

    for part, page in shown.items():
        for slot in said[part].get("slots", ()):
            assert stands(slot["centre"], 2, page)
            assert stands(slot["centre"] / 25.4, 3, page)
            assert stands(slot["width"], 3, page)
            assert stands(slot["depth_front"], 3, page)
            assert stands(slot["floor_front"], 2, page)
        for seat in said[part].get("strings", ()):
            assert stands(seat["centre"], 2, page)
            assert stands(seat["setback"], 2, page)
            assert stands(seat["height"] + seat["residual"], 2, page)
        for key in ("length", "height", "thickness"):
            assert stands(said[part][key], 2, page)


def test_there_is_a_card_for_each_slot_and_it_tells_who_cuts(six):
    """Four of the demo job's slots are milled by its tools, two are left to the file."""
    profile = read_profile(six.job.plan.machine)
    cut = SlotsCut(choices=slot_decisions(six, profile, Stage.ROUGH))
    text = "\n".join(
        p.extract_text()
        for p in PdfReader(io.BytesIO(sheet.pdf(six, notice=NOTICE, cut=cut))).pages
    )
    for number, choice in cut.choices.items():
        slot = next(s for s in six.nut.slots if s.string == number)
        assert re.search(rf"{number}\s+{slot.note} {slot.gauge:.2f} (wound|plain) steel", text)
        if choice.tool:
            held = slot.floor_front + 0.2  # the job's hold-back
            assert f"T{choice.tool.number} cuts the floor to {held:.2f}" in text
    assert text.count("file, rough") == sum(c.tool is None for c in cut.choices.values()) > 0
    assert text.count("the last 0.20 off the floor") == len(six.nut.slots)


@pytest.mark.parametrize("units", ["mm", "in"])
def test_the_tables_are_in_the_unit_asked_for(six, units):
    shown = (
        PdfReader(io.BytesIO(sheet.pdf(six, notice=NOTICE, units=units))).pages[0].extract_text()
    )
    table = shown[shown.index("Slots by hand") : shown.index("A card for each slot")].split()
    slot = six.nut.slots[0]
    assert (f"{slot.centre:.2f}" in table) is (units == "mm")
    assert (f"{slot.centre / 25.4:.3f}" in table) is (units == "in")
    assert ("mm" in table) is (units == "mm")


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
