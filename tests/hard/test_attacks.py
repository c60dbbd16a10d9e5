"""A job's words can never become a G-code word, a DXF entity, page markup or a place outside DIR.

Each output is read back by a reader of its own trade and compared with a harmless job's.
"""

import dataclasses
import html.parser
import io
import json
import re
import xml.etree.ElementTree as ET

import ezdxf
import pypdf
import pytest

from blankcam.gcode import writer
from blankcam.inputs import job_file
from blankcam.inputs.machine_file import read_profile
from blankcam.outputs.papers import bench_list
from blankcam.outputs.render import dxf, records
from blankcam.outputs.tables import report
from blankcam.parts.design import design
from blankcam.parts.stage import Stage
from blankcam.preview.page import page
from blankcam.preview.scene import page_data
from blankcam.workflows import drawn, make
from blankcam.workflows.layout import slot_decisions
from tests.commands import test_commands
from tests.conftest import REPO, demo_job
from tests.proved import plan_of

HOSTILE = (
    "x)\nG0 Z-50\n(", "x)G1Z-9F900(", "%\nM30\n%", "; G0 Z-1\n;", "(MSG, tool)(DEBUG, x)", "MSG,stop",
    "N10G0Z-9", "# O100 sub #1=2 ~ ! \x18 ?", "\\U+000A0\\nLINE ^J ^M %%d \\P{\\H99;big}",
    "0\nLINE\n8\n0\n10\n0.0\n20\n0.0\n11\n9.0\n21\n9.0", "0\r\nEOF\r\n", "</script><script>alert(1)</script>",
    "<!--", "--><img src=x onerror=alert(1)>", "<!--<script>", '" onload="x', "' x='", "]]>",
    "&lt;script&gt;&#x3c;b&#62;", "</title></svg><a href='x'>", "javascript:alert(1)", "</style><style>*{}",
    "# h\n\n- [x](javascript:1) `c` | t | **b** <b>", "![i](http://x.invalid/a.png)", "\n---\n```\nx",
    ") Tj ET endstream endobj (", "\\) /JS (app.alert(1)) /Type /Action", "<</Type /Catalog>>",
    "../../../etc/passwd", "/etc/passwd", "C:\\x", "CON", "nul.ngc", "\\\\host\\share", "~root", "-rf", "--out",
    "a\x00b", "\x1b[2J\x1b]0;x\x07", "\u202eevil\u2066", "a\u2028b\u2029c\x85d\x0be\x0cf", "\ufeffx", "\ud83d",
    "😀 é ß 中 ♭", "$(reboot) `id` ${HOME} %s {0} {x!r}", "[bold red]x[/] [link=http://x.invalid]y[/link]",
    "x" * 200, "-" * 200, "\n" * 200, "G1 X1 " * 33,
)  # fmt: skip
HOSTILE = tuple(h for h in HOSTILE if h != "\ud83d")  # TOML can't hold it
MILL = read_profile("bench-mill")


@pytest.fixture(scope="module")
def harmless():
    return design(job_file.load(str(demo_job("phenolic-ukulele"))))


def named(found, name):
    """The same design under a name that comes through the job file's own reader."""
    table = json.dumps(name, ensure_ascii=True).replace("\\u007f", "\x7f")
    table = re.sub(r"(\\ud8..\\ud[c-f]..)", lambda m: json.loads(f'"{m[1]}"'), table)
    job = job_file.parse(f'[instrument]\nname = {table}\nkind = "ukulele"\n', "j.toml")
    assert job.instrument.name == name
    instrument = dataclasses.replace(found.job.instrument, name=job.instrument.name)
    return dataclasses.replace(found, job=dataclasses.replace(found.job, instrument=instrument))


@pytest.mark.parametrize(("comments", "percent"), [("brackets", False), ("semicolon", True)])
def test_no_word_gets_out_of_a_comment(comments, percent, harmless):
    controller = dataclasses.replace(MILL.controller, comments=comments, percent=percent)
    profile = dataclasses.replace(MILL, controller=controller)
    program = plan_of(harmless, harmless.nut, profile, Stage.ROUGH).programs[-1]
    plain = writer.write(program, profile, "x", "0" * 16).text
    for evil in HOSTILE:
        mill = dataclasses.replace(profile, name=evil, words=evil)
        text = writer.write(program, mill, evil, "0" * 16).text
        assert outside_comments(text) == outside_comments(plain), evil
        assert re.fullmatch(r"[\n -~]*", text), evil
        assert max(map(len, text.splitlines())) <= controller.line_length


def outside_comments(text):
    """The words of a program, read by a rule of its own: NISTIR 6556 3.3.4, comments don't nest."""
    kept = []
    for line in text.split("\n"):
        bare, n = re.subn(r"\([^()]*\)", "", line)
        bare = bare.split(";")[0]
        assert "(" not in bare
        assert ")" not in bare
        assert not re.match(r"\s*[(;]\s*(MSG|DEBUG|PRINT|LOG|PROBE)", line, re.IGNORECASE)
        if bare.strip() or (not n and ";" not in line):
            kept.append(bare)
    return kept


@pytest.mark.long
def test_no_group_code_gets_into_a_drawing(harmless):
    def counted(data):
        drawing = ezdxf.read(io.StringIO(data.decode("cp1252")))
        assert not drawing.audit().has_errors
        return (
            [(e.dxftype(), e.dxf.layer) for e in drawing.modelspace()],
            sorted(layer.dxf.name for layer in drawing.layers),
            len(drawing.entitydb),
            [b.name for b in drawing.blocks],
            data.count(b"\n"),
        )

    for release in ("R2000", "R12"):
        profile = dataclasses.replace(
            MILL, drawing=dataclasses.replace(MILL.drawing, release=release)
        )

        def of(name, profile=profile):
            files, _ = make.drawings(named(harmless, name), profile, Stage.ROUGH)
            assert list(files) == ["nut.dxf", "saddle.dxf"]
            return [counted(d) for d in files.values()]

        plain = of("Quillmere ukulele 4")
        acting = [h for h in HOSTILE if set(h) & set("\n\r\\%^{\x00") or not h.isascii()]
        for evil in acting if release == "R2000" else HOSTILE[7:10]:
            # a long name is written on several lines, as dots in its place would be
            assert of(evil) == (plain if len(evil) < 40 else of("." * len(evil))), evil
    assert dxf.plain("\n\r\x00%^\\{}") == "........"


class Tags(html.parser.HTMLParser):
    """Every tag with its attributes, and what stands in the scripts."""

    def __init__(self):
        super().__init__()
        self.tags, self.comments, self.scripts, self.text = [], 0, [], ""

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, tuple(attrs)))

    def handle_endtag(self, tag):
        self.tags.append(("/" + tag, ()))

    def handle_comment(self, data):
        self.comments += 1

    def handle_data(self, data):
        (self.scripts if self.tags and self.tags[-1][0] in ("script", "style") else []).append(data)
        self.text += data


@pytest.mark.long
def test_no_markup_gets_into_the_page(harmless):
    def tags(found):
        shown = page_data(found, MILL, [], choices=slot_decisions(found, MILL, Stage.ROUGH), notice=("n",))  # fmt: skip
        read_back = Tags()
        text = page(shown)
        text.encode()
        read_back.feed(text)
        return read_back

    plain = tags(harmless)
    for evil in (h for h in HOSTILE if set(h) & set("<>&\"'\x00\u202e{")):
        found = tags(named(harmless, evil))
        assert found.tags == plain.tags, evil
        assert found.comments == plain.comments
        assert found.scripts == plain.scripts or "".join(found.scripts).count("<") == "".join(plain.scripts).count("<")  # fmt: skip
        assert not set("\x00\x1b\u202e\u2066") & set(found.text)


@pytest.mark.long
def test_no_markdown_acts_in_the_bench_list_and_no_key_in_the_report(harmless):
    def listed(found):
        return bench_list.bench(found, MILL, Stage.ROUGH, {}).splitlines()

    plain = listed(harmless)
    for evil in HOSTILE:
        lines = listed(named(harmless, evil))
        assert lines[1:] == plain[1:], evil
        assert lines[0].startswith("# Bench list: ")
        assert not set("<>|`*_[]\\") & set(lines[0])
        found = named(harmless, evil)
        choices = slot_decisions(found, MILL, Stage.ROUGH)
        text = records.render(
            report.report(found, stage=Stage.ROUGH, machine=evil, choices=choices)
        )
        again = json.loads(text)
        assert again["job"] == evil
        assert again["machine"] == evil


@pytest.mark.long
def test_nothing_acts_in_the_sheets(harmless):
    def svg(found):
        pages = drawn.sheet_pages(found, MILL)
        return [
            [(e.tag, sorted(e.attrib)) for e in ET.fromstring(p).iter()] for p in pages.values()
        ]

    plain_svg = svg(harmless)
    plain = pypdf.PdfReader(io.BytesIO(drawn.sheet(harmless, MILL)))
    for i, evil in enumerate(HOSTILE):
        found = named(harmless, evil)
        if "<" in evil or "&" in evil or "]" in evil:
            assert svg(found) == plain_svg, evil
        if i % 9 and "Tj" not in evil and "/Ty" not in evil:
            continue
        pdf = pypdf.PdfReader(io.BytesIO(drawn.sheet(found, MILL)), strict=True)
        assert len(pdf.pages) == len(plain.pages)
        assert sorted(pdf.trailer["/Root"]) == sorted(plain.trailer["/Root"])
        assert [sorted(p) for p in pdf.pages] == [sorted(p) for p in plain.pages]
        shown = "".join(c if c.isprintable() else "." for c in evil)[:8]
        if shown.isascii() and not shown.isspace() and shown.strip() == shown:
            assert shown in pdf.pages[0].extract_text(), evil


def test_a_whole_make_of_a_hostile_job_stays_in_its_folder(tmp_path):
    """Through the installed command, its file and name hostile too; layout as well."""
    job = tmp_path / "--out=..;x)\nG0 Z-9 <b>\u202e.toml"
    evil = "../../x)\\nG0 Z-50\\n(</script><b>%\\u0000\\u202e'\\\""
    text = (demo_job("phenolic-ukulele")).read_text(encoding="utf-8")
    job.write_text(re.sub(r"(?m)^name .*$", lambda _: f'name = "{evil}"', text), encoding="utf-8")
    before = {p.name for p in tmp_path.iterdir()}
    done = test_commands.run("make", "--out", tmp_path / "o", "--", job)
    assert done.returncode == 0, done.stderr
    assert {p.name for p in tmp_path.iterdir()} == before | {"o"}
    assert all(re.fullmatch(r"[a-z]+(-[a-z]+)*(-\d)?\.\w+|\.blankcam\.json", p.name) for p in (tmp_path / "o").iterdir())  # fmt: skip
    programs = list((tmp_path / "o").glob("*.ngc"))
    assert programs
    for program in programs:
        assert "Z-50" not in "".join(outside_comments(program.read_text()))
    for said in (done.stdout, test_commands.run("layout", "--", job).stdout):
        assert not re.search("[\x00-\x09\x0b-\x1f\u202e]", said)
    assert "G0 Z-9" not in [line.strip() for line in done.stdout.splitlines()]


def test_a_name_of_ten_thousand_characters_is_one_short_line(tmp_path):
    job = tmp_path / "j.toml"
    for key, value in (
        ("name", "x" * 10_000),
        ("kind", "\\n" * 5000),
        ("handed", "\\u202e" * 1600),
    ):
        keys = {"name": "x", "kind": "bass", "handed": "left"} | {key: value}
        job.write_text("[instrument]\n" + "".join(f'{k} = "{v}"\n' for k, v in keys.items()))
        with pytest.raises(job_file.InputError) as told:
            job_file.load(str(job))
        assert len(told.value.faults) == 1
        assert len(str(told.value)) < 500
        assert str(told.value).isprintable()


@pytest.mark.parametrize(
    "name", ["../x", "/etc/passwd", "a\x00b.toml", "CON", "C:\\x.toml", "\u202e.toml", "x" * 10_000 + ".toml", "-", ""]
)  # fmt: skip
def test_a_machine_by_a_path_that_tricks_is_told(name):
    with pytest.raises(job_file.InputError) as told:
        read_profile(name)
    assert str(told.value).isprintable()
    assert len(str(told.value)) < 700


def test_a_profiles_words_are_shown_not_acted_on(tmp_path):
    text = (REPO / "machines" / "bench-mill.toml").read_text(encoding="utf-8")
    evil = "a\\u001b[2Jb\\u202e[bold]x[/bold]"
    text = re.sub(r'(?m)^words *= *".*"$', lambda _: f'words = "{evil}"', text)
    (tmp_path / "m.toml").write_text(text, encoding="utf-8")
    said = test_commands.run("machines", tmp_path / "m.toml").stdout
    assert "[bold]x[/bold]" in said
    assert "\x1b" not in said
    assert "\u202e" not in said
