"""Drawings as a machine or a maker wants them, through the installed command."""

import io
import re

import pytest

from tests.conftest import REPO, STEEL, library
from tests.installed import run


def test_r12_says_its_missing_unit_aloud(tmp_path):
    done = run("dxf", STEEL, "--out", tmp_path / "d", "--release", "R12")
    assert done.returncode == 0, done.stderr
    assert "choose millimetres" in done.stdout
    text = (tmp_path / "d" / "nut.dxf").read_text(encoding="cp1252")
    assert "AC1009" in text
    assert "cannot say so itself" in text
    assert run("dxf", STEEL, "--out", tmp_path / "e", "--release", "R11").returncode == 2


def ezdxf_layers(path):
    """The layers on which something is drawn."""
    ezdxf = library("ezdxf")
    return {e.dxf.layer for e in ezdxf.readfile(path).modelspace()}


@pytest.mark.long
def test_all_outlines_on_one_sheet_of_stock(tmp_path):
    trimesh = library("trimesh")
    args = ("dxf", STEEL, "--machine", "template-laser", "--out", tmp_path / "d", "--stock")
    done = run(*args, "300 mm x 8 in")
    assert done.returncode == 0, done.stderr
    data = (tmp_path / "d" / "stock.dxf").read_bytes()
    cut = ezdxf_layers(tmp_path / "d" / "stock-cut.dxf")
    assert cut == {"CUT"}
    assert ezdxf_layers(tmp_path / "d" / "stock.dxf") == {"CUT", "MARK", "LOOK"}
    path = trimesh.load_path(io.BytesIO(data), file_type="dxf")
    lines = [e for e in path.entities if type(e).__name__ != "Text"]
    x = path.vertices[sorted({i for e in lines for i in e.points})][:, 0]
    assert min(x) >= 0
    assert max(x) <= 300
    small = run(*args, "40 mm x 40 mm", "--force")
    assert small.returncode == 1
    assert "too small" in small.stderr
    assert run(*args, "a big one", "--force").returncode == 2


@pytest.mark.long
def test_letter_paper_and_svg_pages(tmp_path):
    pypdf = library("pypdf")
    done = run("preview", STEEL, "--out", tmp_path / "p", "--paper", "Letter")
    assert done.returncode == 0, done.stderr
    names = {p.name for p in (tmp_path / "p").iterdir()}
    assert {"sheet.pdf", "sheet-1.svg", "preview.html"} <= names
    assert not any(n.endswith((".ngc", ".dxf")) for n in names)
    box = pypdf.PdfReader(tmp_path / "p" / "sheet.pdf").pages[0].mediabox
    # ANSI/ASME Y14.1 size A: 8.5 x 11 in
    assert (float(box.width), float(box.height)) == pytest.approx((612, 792), abs=0.6)


@pytest.mark.long
def test_a_profile_names_its_own_layers(tmp_path):
    laser = (REPO / "machines" / "template-laser.toml").read_text()
    own = tmp_path / "laser.toml"
    rows = '[drawing]\npaper = "Letter"\nlayers = [{ holds = "outline", name = "FIRST", work = "cut" }]\n'
    own.write_text(laser + "\n" + rows)
    done = run("dxf", STEEL, "--machine", own, "--stage", "final", "--out", tmp_path / "d")
    assert done.returncode == 0, done.stderr
    assert re.search(r"\nFIRST\n", (tmp_path / "d" / "nut.dxf").read_text(encoding="cp1252"))
    own.write_text(laser + "\n" + rows.replace("outline", "outlines"))
    bad = run("machines", own)
    assert bad.returncode == 2
    assert "drawing.layers" in bad.stderr


@pytest.mark.long
def test_a_whole_batch_on_one_sheet(tmp_path):
    trimesh = library("trimesh")
    folder = REPO / "demo_jobs"
    args = ("batch", folder, "--machine", "template-laser", "--out", tmp_path / "b")
    done = run(*args, "--stock", "400 mm x 300 mm")
    assert done.returncode == 0, done.stderr
    jobs = len(list(folder.glob("*.toml")))
    assert f"parts of {jobs} jobs" in done.stdout
    data = io.BytesIO((tmp_path / "b" / "stock-cut.dxf").read_bytes())
    (x0, _), (x1, y1) = trimesh.load_path(data, file_type="dxf").bounds
    assert x0 >= 0
    assert x1 <= 400
    assert y1 <= 300
