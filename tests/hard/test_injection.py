"""Every control character, direction mark, template and formula, through every output format.

A whole set is made under each name; each file is read back by its own format's parser and must
have the structure of a harmless job's.
"""

import csv
import html.parser
import io
import json
import re
import xml.etree.ElementTree as ET

import ezdxf
import markdown_it
import pypdf
import pytest

from blankcam.inputs import job_file, job_table
from blankcam.inputs.machine_file import parse_profile
from blankcam.outputs.tables import batch_table
from blankcam.outputs.tables.batch_table import Outcome
from blankcam.parts.design import design
from blankcam.parts.stage import Stage
from blankcam.workflows import drawn, make
from tests.conftest import REPO, STEEL, first_then_long
from tests.hard.test_attacks import outside_comments
from tests.installed import run

CONTROLS = "".join(map(chr, (*range(1, 0x20), *range(0x7F, 0xA0))))
MARKS = "\u061c\u200b\u200e\u200f\u2028\u2029\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\ufeff\u00ad"
TEMPLATES = "{{7*7}}${7*7}<%=7*7%>#{7*7}[[7*7]]{%x%}%(x)s{0.__class__}`7`$(7)"
FORMULAS = (
    "=1+1",
    "+1+1",
    "-1+1",
    "@SUM(1)",
    "\t=1+1",
    "\r=1+1",
    "\uff1d1+1",
    "=cmd|' /C calc'!A0",
)
NAMES = (CONTROLS, MARKS, TEMPLATES, "".join(FORMULAS), "</script><svg onload=alert(1)>" * 6)
ACTING = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]")


def job_text(name):
    text = STEEL.read_text(encoding="utf-8")
    quoted = json.dumps(name, ensure_ascii=False)
    quoted = re.sub("[\x7f-\x9f]", lambda m: f"\\u{ord(m[0]):04x}", quoted)
    return re.sub(r"(?m)^name .*$", lambda _: f"name = {quoted}", text, count=1)


class Page(html.parser.HTMLParser):
    """Tags and the names of their attributes; comments; text outside of scripts."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.text, self.comments = [], "", 0
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, tuple(name for name, _ in attrs)))

    def handle_comment(self, data):
        self.comments += 1

    def handle_data(self, data):
        self.text += data


def dxf_structure(data):
    drawing = ezdxf.read(io.StringIO(data.decode("cp1252")))
    assert not drawing.audit().has_errors
    return (
        sorted((e.dxftype(), e.dxf.layer) for e in drawing.modelspace()),
        sorted(layer.dxf.name for layer in drawing.layers),
        sorted(b.name for b in drawing.blocks),
    )


def pdf_structure(data):
    pdf = pypdf.PdfReader(io.BytesIO(data), strict=True)
    return (
        sorted(pdf.trailer["/Root"]),
        [sorted(page) for page in pdf.pages],
        [("/Annots" in page, "/AA" in page) for page in pdf.pages],
    )


def markdown_structure(data):
    text = data.decode()
    assert not ACTING.search(text)
    tokens = markdown_it.MarkdownIt("commonmark", {"html": True}).enable("table").parse(text)
    inner = [c.type for t in tokens for c in t.children or ()]
    assert not {"html_inline", "html_block", "image"} & {*inner, *(t.type for t in tokens)}
    return [t.type for t in tokens], inner.count("link_open"), inner.count("code_inline")


def program_structure(data):
    text = data.decode("ascii")
    assert re.fullmatch(r"[\n -~]*", text)
    return outside_comments(text)


def page_structure(data):
    page = Page(data.decode())
    assert not ACTING.search(page.text)
    return page.tags, page.comments


def json_structure(data):
    def keys(value):
        if isinstance(value, dict):
            return {key: keys(inner) for key, inner in value.items()}
        return [keys(inner) for inner in value] if isinstance(value, list) else type(value).__name__

    return keys(json.loads(data))


def svg_structure(data):
    text = data.decode()
    assert not ACTING.search(text)
    return [(e.tag, sorted(e.attrib)) for e in ET.fromstring(text).iter()]


READERS = {
    "dxf": dxf_structure, "pdf": pdf_structure, "md": markdown_structure, "ngc": program_structure,
    "html": page_structure, "json": json_structure, "svg": svg_structure,
}  # fmt: skip


def structures(job, profile):
    files = make.build(job, profile, Stage.ROUGH)
    assert {name.rpartition(".")[2] for name in files} == set(READERS)
    pages = drawn.sheet_pages(design(job), profile)
    found = {name: READERS[name.rpartition(".")[2]](data) for name, data in files.items()}
    svg = {n: svg_structure(p) for n, p in pages.items()}
    return found | svg, files


@pytest.fixture(scope="module")
def profile():
    text = (REPO / "machines" / "bench-mill.toml").read_text(encoding="utf-8")
    return parse_profile(text, "m.toml")


@pytest.fixture(scope="module")
def harmless(profile):
    return structures(job_file.parse(job_text("harmless"), "j.toml"), profile)[0]


@pytest.mark.long
@pytest.mark.parametrize(
    "name", first_then_long(NAMES), ids=["controls", "marks", "templates", "formulas", "markup"]
)
def test_no_name_becomes_code_in_any_format(name, profile, harmless):
    job = job_file.parse(job_text(name), "j.toml")
    assert job.instrument.name == name
    found, files = structures(job, profile)
    assert found.keys() == harmless.keys()
    # A long name is written on several lines of a drawing, as dots for its letters would be
    dotted = design(job_file.parse(job_text(re.sub("[^ ]", ".", name)), "j.toml"))
    drawings, _ = make.drawings(dotted, profile, Stage.ROUGH)
    expected = harmless | {file: dxf_structure(data) for file, data in drawings.items()}
    for file, structure in found.items():
        assert structure == expected[file], file
    assert json.loads(files["report.json"])["job"] == name


def test_no_cell_of_the_summary_becomes_a_formula_or_a_row():
    outcomes = [
        Outcome(folder=f"f{i}", job=name, source=name, status="refused", faults=(name, "x"))
        for i, name in enumerate((*NAMES, *FORMULAS, "x" * 10_000))
    ]
    rows = list(csv.reader(io.StringIO(batch_table.as_csv(outcomes).decode(), newline="")))
    assert len(rows) == len(outcomes) + 1
    assert len({len(row) for row in rows}) == 1
    for cell in (c for row in rows for c in row):
        assert cell[:1] not in tuple("=+-@\t\r\uff1d\uff0b\uff0d\uff20"), cell
        assert not ACTING.search(cell)
        assert len(cell) <= 2001
    assert [j["job"] for j in json.loads(batch_table.as_json(outcomes))["jobs"]] == [o.job for o in outcomes]  # fmt: skip


@pytest.mark.parametrize("name", [
    pytest.param(each, id=of, marks=pytest.mark.long if at > 1 else ())
    for at, (each, of) in enumerate(
        zip(NAMES, ("controls", "marks", "templates", "formulas", "markup"), strict=True)
    )
])  # fmt: skip
def test_no_name_acts_in_the_terminal(name, tmp_path):
    (tmp_path / "j.toml").write_text(job_text(name), encoding="utf-8")
    done = run("layout", tmp_path / "j.toml")
    assert done.returncode == 0, done.stderr
    assert not ACTING.search(done.stdout.replace("\n", ""))


def test_ten_thousand_letters_are_one_short_line_in_every_input(tmp_path):
    long = "x" * 10_000
    for text in (
        job_text(long),
        re.sub(r"(?m)^seat_width.*$", f'seat_width = "{long}"', job_text("x")),
        f"{long} = 1",
    ):
        with pytest.raises(job_file.InputError) as told:
            job_file.parse(text, "j.toml")
        assert all(len(str(f)) < 500 for f in told.value.faults)
    (tmp_path / "t.csv").write_text(f"instrument.name,nut.tilt\n{long},7 deg\nA,{long}\n")
    for _, failed in job_table.jobs(str(STEEL), str(tmp_path / "t.csv")):
        assert all(len(str(f)) < 500 for f in failed.faults)
    text = (REPO / "machines" / "bench-mill.toml").read_text(encoding="utf-8")
    for key in ("name", "words"):
        with pytest.raises(job_file.InputError) as told:
            parse_profile(re.sub(rf'(?m)^{key} = ".*"', f'{key} = "{long}"', text), "m.toml")
        assert all(len(str(f)) < 500 for f in told.value.faults)
