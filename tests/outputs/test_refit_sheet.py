"""A refit drawn: what it asks for against its record, its order, and no word over another."""

from __future__ import annotations

import io
import json
import re
import shutil

import pytest
import shapely
from pypdf import PdfReader

from blankcam.workflows.refit.folder import refit
from tests.conftest import STEEL, demo_job, needed
from tests.outputs.test_sheet import crossing, letters_of, printed_words

# Invented readings of rough parts, too high at both ends.
READINGS = """[readings]
first_fret = { bass = "0.77 mm", treble = "0.62 mm" }
action = { bass = "2.65 mm", treble = "2.15 mm" }
settled = "36 h"
uncertainty = "0.03 mm"
"""
READ = {6: "0.77", 1: "0.62"}


def refitted(folder, job, readings=READINGS, name="one"):
    (folder / "readings.toml").write_text(readings, encoding="utf-8")
    if not (folder / "job.toml").exists():
        shutil.copy(job, folder / "job.toml")
    out = folder / name
    list(refit(str(folder / "job.toml"), str(folder / "readings.toml"), str(out), "hand-bench"))
    return json.loads((out / "refit.json").read_text(encoding="utf-8")), out


@pytest.fixture(scope="module")
def first(tmp_path_factory):
    return refitted(tmp_path_factory.mktemp("refit"), STEEL)


def text_of(out):
    reader = PdfReader(io.BytesIO((out / "sheet.pdf").read_bytes()))
    return "\n".join(page.extract_text() for page in reader.pages)


def test_every_slot_is_drawn_before_and_after_with_what_comes_off(first):
    record, out = first
    text = text_of(out)
    for v, slot in zip(record["strings"], record["nut"], strict=True):
        head = re.search(rf"^{v['string']}\s+{v['note']} \d\.\d\d ", text, re.MULTILINE)
        card = text[head.start() :]
        card = card[: card.index(" wanted")]
        heights = [float(n) for n in re.findall(r"^\d\.\d\d$", card, re.MULTILINE)]
        for floor in (slot["floor_before"], slot["floor_after"]):
            assert any(abs(h - floor) <= 0.0051 for h in heights)
        assert f"{v['nut_take']:.2f} off the floor" in card
        assert (f"Fret 1: {READ.get(v['string'])} read" in card) is (v["string"] in READ)
    saddle = record["saddle"]
    assert saddle["by"] == "bottom"
    for figure in (saddle["bottom_left"], saddle["bottom_right"]):
        assert f"\n{figure:.2f}\n" in f"\n{text[text.index('The saddle') :]}\n"
    assert "heights x 10" in text


def test_floors_come_first_and_the_top_last(first):
    text = text_of(first[1])
    order = text[text.index("In this order") : text.index("Read and wanted")]
    steps = re.findall(r"^(\d)\. (\w+)", order, re.MULTILINE)
    assert [word for _, word in steps] == ["floors", "saddle", "nut"]
    assert "its top" in order
    assert "`sheet.pdf`" in (first[1] / "refit.md").read_text(encoding="utf-8")


def test_once_all_is_done_the_top_comes_down_before_what_is_next(tmp_path):
    one = _high("concert-steel", tmp_path)
    rows = {
        key: ", ".join(f'{s["string"]} = "{s[key]["after"]:.2f} mm"' for s in one["strings"])
        for key in ("first_fret", "action")
    }
    met = f"[readings]\nfirst_fret = {{ {rows['first_fret']} }}\naction = {{ {rows['action']} }}\n"
    two, out = refitted(tmp_path, STEEL, f'{met}settled = "36 h"\nuncertainty = "0.03 mm"\n', "two")
    assert two["state"] == "done"
    text = text_of(out)
    order = text[text.index("In this order") : text.index("Read and wanted")]
    assert re.findall(r"^\d\. (\w+)", order, re.MULTILINE) == ["saddle", "nut", "next"]
    assert "What comes off" not in text


@pytest.mark.oracle
@pytest.mark.parametrize("job", ["concert-steel", "left-classical"])
def test_no_printed_word_overlaps_another(job, tmp_path):
    """Boxes from the PDF itself by poppler."""
    needed(shutil.which("pdftotext"), "pdftotext")
    made = _high(job, tmp_path)
    assert made["state"] == "cut"
    assert any(v["nut_take"] for v in made["strings"])
    data = (tmp_path / "one" / "sheet.pdf").read_bytes()
    for (wide, tall), words in printed_words(data, tmp_path):
        room = shapely.box(14, 14, wide - 14, tall - 14)
        grounds = [letters_of(ground) for _, ground in words]
        assert all(room.contains(ground) for ground in grounds)
        for i, j in crossing(grounds):
            both = grounds[i].intersection(grounds[j])
            assert both.area < 0.3, (words[i][0], words[j][0])


def _high(job, folder):
    """A refit of parts that stand some tenths too high, by readings from the job's own targets."""
    from blankcam.inputs import job_file
    from blankcam.parts.design import design

    found = design(job_file.load(str(demo_job(job))))
    board = found.instrument.board
    rows = {1: [], 12: []}
    for place, s in enumerate(found.instrument.strings):
        number = len(found.instrument.strings) - place
        for fret, over in ((1, 0.22), (12, 0.35)):
            at = float(s.clearance(board, [float(fret)])[0]) + over
            rows[fret].append(f'{number} = "{at:.2f} mm"')
    readings = (
        f"[readings]\nfirst_fret = {{ {', '.join(rows[1])} }}\n"
        f'action = {{ {", ".join(rows[12])} }}\nsettled = "36 h"\nuncertainty = "0.03 mm"\n'
    )
    return refitted(folder, demo_job(job), readings)[0]


def test_where_nothing_is_cut_nothing_is_drawn(first, tmp_path):
    record, out = first
    shutil.copy(out.parent / "job.toml", tmp_path / "job.toml")
    shutil.copy(out.parent / "job.parts.jsonl", tmp_path / "job.parts.jsonl")
    rows = {
        key: ", ".join(f'{s["string"]} = "{s[key]["wanted"]:.2f} mm"' for s in record["strings"])
        for key in ("first_fret", "action")
    }
    met = (
        f"[readings]\nfirst_fret = {{ {rows['first_fret']} }}\naction = {{ {rows['action']} }}\n"
        'settled = "36 h"\nuncertainty = "0.03 mm"\nmeasured = "twice"\n'
    )
    later, where = refitted(tmp_path, STEEL, met, "two")
    cut = bool(later["programs"]) or later["nut_top"] or later["saddle"]["by"] != "nothing"
    cut = cut or any(s["nut_take"] for s in later["strings"])
    assert (where / "sheet.pdf").exists() is bool(cut)
