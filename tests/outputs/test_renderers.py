"""One table through every renderer, read back by each format's own parser: no row or
unit is lost.
"""

from __future__ import annotations

import io
import json
import math
import re
import xml.etree.ElementTree as ET
from html.parser import HTMLParser

import ezdxf
import pytest
from markdown_it import MarkdownIt
from pypdf import PdfReader

from blankcam.inputs.layers import default_layers
from blankcam.outputs.figures import cell, heading
from blankcam.outputs.render import dxf, markdown, pdf, records, ruled, svg, text
from blankcam.outputs.rows import Column, Figure, Section, Table, bare
from blankcam.preview import html

TABLE = Table(
    key="invented",
    columns=(
        Column(key="name", title="string"),
        Column(key="centre", title="centre", unit="mm", decimals=2),
        Column(key="off", title="off by", unit="mm", decimals=3, signed=True),
        Column(key="pull", title="pull", unit="N", decimals=1),
        Column(key="tilt", title="tilt", unit="deg", decimals=1),
        Column(key="by", title="by"),
    ),
    rows=(
        ("2 A2", 25.4, -0.0127, 4.4482216152605, 7.0, "tool 3"),
        ("1 E4", Figure(value=12.7, decimals=3), 0.0004, 88.964432305210, None, "file"),
    ),
)
SECTION = Section(title="Invented", table=TABLE, notes=("a note",), steps=("a step",))
# Worked by hand: an inch is 25.4 mm, a pound-force 4.4482216152605 N, both exact by definition.
METRIC = [
    ["2 A2", "25.40", "-0.013", "4.4", "7.0", "tool 3"],
    ["1 E4", "12.700", "+0.000", "89.0", "", "file"],
]
BOTH = [
    ["2 A2", "25.40 (1.000)", "-0.013 (-0.0005)", "4.4 (1.0)", "7.0", "tool 3"],
    ["1 E4", "12.700 (0.5000)", "+0.000 (+0.0000)", "89.0 (20.0)", "", "file"],
]
HEADS_BOTH = ["string", "centre mm (in)", "off by mm (in)", "pull N (lb)", "tilt deg", "by"]


def test_cells_and_headings_in_each_unit():
    for row, wanted in zip(TABLE.rows, METRIC, strict=True):
        assert [cell(c, v, "mm") for c, v in zip(TABLE.columns, row, strict=True)] == wanted
    assert [cell(c, v, "in") for c, v in zip(TABLE.columns, TABLE.rows[0], strict=True)] == [
        "2 A2", "1.000", "-0.0005", "1.0", "7.0", "tool 3"
    ]  # fmt: skip
    assert [heading(c, "in") for c in TABLE.columns][1:4] == ["centre in", "off by in", "pull lb"]


def test_picking_keeps_the_order_asked_for_and_refuses_a_column_it_lacks():
    picked = TABLE.pick("by", "centre")
    assert [c.key for c in picked.columns] == ["by", "centre"]
    assert picked.rows[0] == ("tool 3", 25.4)
    with pytest.raises(KeyError):
        TABLE.pick("colour")


def test_text():
    said = text.render(SECTION, width=200)
    lines = said.splitlines()
    assert lines[0] == "Invented, mm (in)"
    split = [[part.strip() for part in line.split("   ") if part.strip()] for line in lines]
    assert ["string", "centre", "off by", "pull N (lb)", "tilt deg", "by"] in split
    assert BOTH[0] in split
    assert [c for c in BOTH[1] if c] in split
    assert ["1. a step"] in split
    assert ["a note"] in split


def test_text_where_there_is_no_room_for_columns():
    """Every cell under its row's name, beside its heading where that fits."""
    for width in (24, 40):
        lines = [line.strip() for line in text.render(SECTION, width=width).splitlines()]
        for row in BOTH:
            at = lines.index(f"string {row[0]}")
            own = re.sub(r"[: ]+", " ", " ".join(lines[at:]))
            for title, value in zip(("centre", "off by", "pull N (lb)"), row[1:4], strict=True):
                assert f"{title} {value}" in own


def markdown_cells(source):
    tokens = MarkdownIt("commonmark").enable("table").parse(source)
    rows, inside = [], False
    for token in tokens:
        if token.type == "tr_open":
            rows.append([])
        inside = token.type in ("td_open", "th_open") or (inside and token.type == "inline")
        if token.type == "inline" and inside:
            rows[-1].append(token.content)
    return rows


def test_markdown():
    source = markdown.render(SECTION)
    assert markdown_cells(source) == [HEADS_BOTH, *BOTH]
    kinds = [t.type for t in MarkdownIt("commonmark").enable("table").parse(source)]
    assert kinds[0] == "heading_open"
    assert "ordered_list_open" in kinds


def test_records():
    again = json.loads(records.render({"rows": TABLE, "flat": math.inf}))
    assert again["flat"] is None
    for got, row in zip(again["rows"], TABLE.rows, strict=True):
        for column, value in zip(TABLE.columns, row, strict=True):
            want = bare(value)
            if isinstance(want, float):
                assert got[column.key] == pytest.approx(want, abs=0.5e-4)
            else:
                assert got[column.key] == want


class Cells(HTMLParser):
    """Rows of a table; of a length also its value."""

    def __init__(self):
        super().__init__()
        self.rows, self.lengths, self.open = [], [], False

    def handle_starttag(self, tag, attrs):
        if tag == "tr":
            self.rows.append([])
        if tag in ("td", "th"):
            self.rows[-1].append("")
            self.open = True
            if "data-mm" in dict(attrs):
                self.lengths.append(float(dict(attrs)["data-mm"]))

    def handle_endtag(self, tag):
        self.open = self.open and tag not in ("td", "th")

    def handle_data(self, data):
        if self.open:
            self.rows[-1][-1] += data


def test_html():
    page = Cells()
    page.feed(html.render(SECTION))
    heads, *rows = page.rows
    assert heads == ["String", "Centre mm", "Off by mm", "Pull N", "Tilt deg", "By"]
    plain = [[c.replace("\N{MINUS SIGN}", "-") for c in row] for row in rows]
    assert plain == [METRIC[0], [c.replace("+0.000", "0.000") for c in METRIC[1]]]
    lengths = [bare(v) for row in TABLE.rows for v in row[1:3]]
    assert page.lengths == pytest.approx(lengths, abs=1e-5)


def test_a_unit_that_a_long_row_shares_is_named_once():
    frets = [Column(key=f"f{n}", title=str(n), unit="mm", decimals=2) for n in range(1, 13)]
    row = ("6 E2", *(0.1 * n for n in range(1, 13)))
    columns = (TABLE.columns[0], *frets)
    section = Section(title="Over each fret", table=Table(key="c", columns=columns, rows=(row,)))
    made = html.render(section)
    assert made.count('class="unit"') == 1
    page = Cells()
    page.feed(made)
    assert page.rows[0] == ["String", *map(str, range(1, 13))]


PAPER_HEADS = [
    "string",
    "centre",
    "mm",
    "in",
    "1/64 in",
    "off by",
    "pull",
    "N",
    "tilt",
    "deg",
    "by",
]


@pytest.fixture(scope="module")
def drawn():
    return ruled.render(TABLE, {"centre": ("mm", "in", "1/64 in")}).moved(10.0, 80.0)


def on_paper():
    """Each cell as it must stand on paper: 25.4 mm are 1 in, 12.7 mm 1/2 in."""
    for row, inches in zip(METRIC, (("1.000", "1"), ("0.5000", "1/2")), strict=True):
        yield [*row[:2], *inches, *row[2:]]


def test_pdf(drawn):
    (page,) = PdfReader(io.BytesIO(pdf.render([drawn], (210.0, 100.0), "t"))).pages
    said = page.extract_text().split("\n")
    for part in (*PAPER_HEADS, *(c for row in on_paper() for c in row if c)):
        assert part in said, part
    assert said.count("mm") == 2  # of the centre and of what is off


def test_svg(drawn):
    root = ET.fromstring(svg.render(drawn, (210.0, 100.0), "t"))
    said = [t.text for t in root.iter("{http://www.w3.org/2000/svg}text")]
    for part in (*PAPER_HEADS, *(c for row in on_paper() for c in row if c)):
        assert part in said, part


def test_dxf(drawn):
    data = dxf.render(drawn, layers=default_layers(), notes=("a note",), notice=("NOTICE",))
    doc = ezdxf.read(io.StringIO(data.decode()))
    said = [t.dxf.text for t in doc.modelspace().query("TEXT")]
    for part in (*PAPER_HEADS, *(c for row in on_paper() for c in row if c), "a note", "NOTICE"):
        assert part in said, part


def test_rows_on_paper_stand_under_their_headings_and_nothing_overlaps(drawn):
    boxes = [(w.text, w.corners()) for w in drawn.words]
    for i, (text_a, a) in enumerate(boxes):
        for text_b, b in boxes[i + 1 :]:
            apart = a[1][0] <= b[0][0] or b[1][0] <= a[0][0] or a[2][1] <= b[0][1]
            assert apart or b[2][1] <= a[0][1], (text_a, text_b)
    tops = {w.text: w.at for w in drawn.words}
    assert tops["tool 3"][0] == pytest.approx(tops["by"][0])
    assert tops["25.40"][1] > tops["12.700"][1]
