"""The DXF files as other people's programs read them: trimesh, GDAL, LibreCAD.

The wanted areas come from the solids by quadrature, the wanted lengths from the job.
"""

from __future__ import annotations

import io
import os
import re
import shutil
import subprocess
import zlib
from importlib.util import find_spec

import ezdxf
import numpy as np
import pytest

from blankcam.inputs import job_file
from blankcam.outputs.drawing import Drawing, Path
from blankcam.outputs.drawings import cut_files
from blankcam.parts.design import design
from blankcam.parts.stage import Stage
from tests.conftest import EACH_DEMO_JOB, demo_job, needed
from tests.installed import run

pytestmark = pytest.mark.oracle
NOTICE = ("SAFETY NOTICE", "Wear eye protection.")


@pytest.fixture(scope="module", params=EACH_DEMO_JOB)
def found(request):
    return design(job_file.load(str(request.param)))


def silhouette(part):
    """Area under the finished top by Simpson's rule, from the solid."""
    x = np.linspace(0.0, part.length, 20001)
    z = part.top.height(x)
    return (x[1] - x[0]) / 3 * float(z[0] + z[-1] + 4 * z[1:-1:2].sum() + 2 * z[2:-1:2].sum())


def files(found):
    yield found.nut, cut_files.write_nut(found.nut, Stage.FINAL, notice=NOTICE)
    yield found.saddle, cut_files.write_saddle(found.saddle, Stage.FINAL, notice=NOTICE)


FLATTEST = 5000.0
"""mm; GDAL reads flatter arcs too."""


def test_trimesh_reads_units_bounds_area_and_true_arcs(found, monkeypatch):
    """It loses the layer of a polyline with bulges, so the outline is written alone."""
    needed(find_spec("trimesh"), "trimesh")
    import trimesh

    monkeypatch.setattr(trimesh.constants.res_path, "seg_angle", 1e-4)  # how it flattens arcs
    monkeypatch.setattr(trimesh.constants.res_path, "seg_frac", 0.002)
    if FLATTEST < found.nut.top_radius < np.inf:
        pytest.skip("trimesh gives up on the centre of so flat an arc and draws three points of it")
    for part in (found.nut, found.saddle):
        chain = part.elevation()
        alone = Drawing(paths=(Path(chain=chain, holds="outline", closed=True),))
        data = cut_files.write(alone, notice=NOTICE)
        path = trimesh.load_path(io.BytesIO(data), file_type="dxf")
        assert trimesh.units.unit_conversion(path.units, "mm") == 1.0
        (whole,) = path.polygons_full  # its own bounds hold the words too
        assert whole.bounds == pytest.approx([0.0, 0.0, part.length, part.height], rel=1e-4)
        assert whole.area == pytest.approx(silhouette(part), rel=1e-4)
        curved = any(type(e).__name__ == "Arc" for e in path.entities)
        assert curved is not np.isinf(getattr(part.top, "radius", 0.0))


def test_gdal_reads_area_and_bounds(found, tmp_path, monkeypatch):
    """Its default arc step of 4 degrees is far too coarse: 0.01 degree."""
    monkeypatch.setenv("OGR_ARC_STEPSIZE", "0.01")
    needed(find_spec("pyogrio"), "pyogrio")
    import pyogrio
    import shapely

    pyogrio.set_gdal_config_options({"OGR_ARC_STEPSIZE": "0.01"})
    for part, data in files(found):
        file = tmp_path / f"{part.name}.dxf"
        file.write_bytes(data)
        _, _, shapes, fields = pyogrio.raw.read(file, columns=["Layer"])
        (outline,) = (
            shapely.from_wkb(g) for g, layer in zip(shapes, fields[0], strict=True)
            if layer == "CUT"
        )  # fmt: skip
        ring = shapely.force_2d(outline)
        assert ring.is_closed
        area = shapely.Polygon(ring.coords).area
        assert area == pytest.approx(silhouette(part), rel=1e-4)
        assert ring.bounds[2] - ring.bounds[0] == pytest.approx(part.length, rel=1e-9)
        assert ring.bounds[3] == pytest.approx(part.height, rel=1e-4)


@pytest.mark.long
def test_a_cad_program_draws_the_same_width(found, tmp_path):
    """LibreCAD's own PDF of the file at 1:1, its drawing stream read plainly."""
    needed(shutil.which("librecad"), "librecad")
    for part, data in files(found):
        file = tmp_path / f"{part.name}.dxf"
        file.write_bytes(data)
        env = {**os.environ, "QT_QPA_PLATFORM": "offscreen", "HOME": str(tmp_path)}
        subprocess.run(
            ["librecad", "dxf2pdf", "-s", "1", "-c", "-t", str(tmp_path), str(file)],
            check=True, capture_output=True, timeout=60, env=env, cwd=tmp_path,
        )  # fmt: skip
        pdf = (tmp_path / f"{part.name}.pdf").read_bytes()
        width = max(lengths_of_level_lines(pdf))
        assert width == pytest.approx(part.length, abs=0.1)


@pytest.mark.long
@pytest.mark.parametrize("name", ["concert-steel", "short-courses"])
def test_notes_and_notice_stand_apart_in_a_cad_programs_own_letters(name, tmp_path):
    """Its letters are wider than those measured. What it would not print is made to print."""
    needed(shutil.which("librecad"), "librecad")
    done = run("dxf", demo_job(name), "--out", tmp_path / "d")
    assert done.returncode == 0, done.stderr
    for part in ("nut", "saddle"):
        doc = ezdxf.readfile(tmp_path / "d" / f"{part}.dxf")
        doc.layers.get("LOOK").dxf.plot = 1
        doc.saveas(tmp_path / f"{part}.dxf")
        env = {**os.environ, "QT_QPA_PLATFORM": "offscreen", "HOME": str(tmp_path)}
        subprocess.run(
            ["librecad", "dxf2pdf", "-a", "-c", f"{part}.dxf"],
            check=True, capture_output=True, timeout=60, env=env, cwd=tmp_path,
        )  # fmt: skip
        inked = sorted(across(drawing_of((tmp_path / f"{part}.pdf").read_bytes())))
        length = max(right - left for left, right in inked)
        gaps, reach = [], inked[0][1]
        for left, right in inked:
            gaps.append((left - reach) / length)
            reach = max(reach, right)
        # drawing, notes, notice: each at least 2 mm from the next where the part is 40 to 90 mm
        assert len([gap for gap in gaps if gap > 0.05]) == 2


def drawing_of(pdf):
    """The stream of a plain Qt PDF that draws."""
    for raw in re.findall(rb"stream\r?\n(.*?)\r?\nendstream", pdf, re.DOTALL):
        try:
            text = zlib.decompress(raw).decode("latin-1")
        except zlib.error:
            continue
        if re.search(r" l\s", text):
            return text
    raise ValueError("nothing is drawn")


def across(drawn):
    """Left and right end of each stroke; ``n`` ends what only clips."""
    for stroke in re.split(r"\bS\b", drawn):
        x = [float(a) for a in re.findall(r"([-\d.]+) [-\d.]+ [ml]\b", stroke.split("n\n")[-1])]
        if x:
            yield min(x), max(x)


def lengths_of_level_lines(pdf):
    """Millimetres of each level stroke in a plain Qt PDF: one matrix, then m and l commands."""
    streams = re.findall(rb"stream\r?\n(.*?)\r?\nendstream", pdf, re.DOTALL)
    for raw in streams:
        try:
            text = zlib.decompress(raw).decode("latin-1")
        except zlib.error:
            continue
        scale = float(re.search(r"([\d.]+) 0 0 -?[\d.]+ [-\d.]+ [-\d.]+ cm", text)[1])
        strokes = re.findall(r"([-\d.]+) ([-\d.]+) m\s+([-\d.]+) ([-\d.]+) l\s+S\b", text)
        for a, b, c, d in (map(float, p) for p in strokes):
            if b == d:
                yield abs(c - a) * scale / 72 * 25.4
