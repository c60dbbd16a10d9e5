"""The page of a job that is being worked on: drawn though refused, and anew at each save."""

import os
import re
import signal
import subprocess
import sys
import time

import pytest

from blankcam import transaction
from blankcam.inputs import job_file
from blankcam.parts.stage import Stage
from blankcam.preview.page import newer, whole
from blankcam.workers import cores
from blankcam.workflows import preview
from blankcam.workflows.drawn import page_written
from blankcam.workflows.preview import draw
from blankcam.workflows.request import machine_of
from tests.conftest import STEEL
from tests.installed import refused, run
from tests.preview.test_browser import Page

PATIENCE = 60
"""Seconds that this computer may take, busy as it may be."""
HEAD = "document.querySelector('#numbers').children[0].getBoundingClientRect().top"
SHOWN = """() => {
    const v = blankcam.solidView, stage = v.part.stages.find((s) => s.stage === 'rough');
    const cut = blankcam.cutView;
    return {
        title: document.title,
        words: [...document.querySelectorAll('#name, .block, #aside, #program, #cut-notice')]
            .map((e) => [e.id, e.textContent]),
        drawings: [...document.querySelectorAll('.block svg')].map((e) => e.outerHTML),
        sum: stage.grid.z.reduce((a, b) => a + (b || 0), 0),
        program: [cut.program.file, cut.program.lines.length, cut.total],
        standing: document.getElementById('standing-words').textContent,
        cut: document.getElementById('cut').hidden,
    };
}"""


def changed(path, key, value):
    """The demo job with one key's value another."""
    text, count = re.subn(
        rf"(?m)^({key}\s*=\s*).*$", rf"\g<1>{value}", STEEL.read_text("utf-8"), count=1
    )
    assert count == 1
    path.write_text(text, encoding="utf-8")
    return path


LOW = '{ length = "52 mm", height = "7 mm", thickness = "6.08 mm" }'
REFUSED = {
    "blank": ("nut", LOW, "too small"),
    "walls": ("margin_bass", '"0.9 mm"', "the wall outside slot 6"),
}


@pytest.mark.long
@pytest.mark.parametrize("why", REFUSED)
def test_what_is_refused_is_drawn_and_marked_and_nothing_made_for_a_machine(tmp_path, why):
    key, value, said = REFUSED[why]
    job = changed(tmp_path / "job.toml", key, value)
    done = run("preview", job, "--out", tmp_path / "look")
    assert done.returncode == 1
    assert said in done.stderr
    names = {p.name for p in (tmp_path / "look").iterdir()} - {".blankcam.json"}
    assert {"preview.html", "sheet.pdf"} <= names
    assert not any(n.endswith((".ngc", ".dxf")) for n in names)
    page = (tmp_path / "look" / "preview.html").read_text("utf-8")
    assert "Do not cut" in page
    assert "Good to cut" not in page
    assert said in page
    assert ("mm too low" in page) == (why == "blank")
    assert run("make", job, "--out", tmp_path / "cuts").returncode == 1
    assert not (tmp_path / "cuts").exists()


@pytest.mark.long
def test_a_vice_too_high_for_the_cuts_is_said_and_the_part_is_drawn(tmp_path):
    """What it keeps the machine from is left to the hand: the outlines are still to be cut."""
    text = STEEL.read_text("utf-8")
    job = tmp_path / "job.toml"
    job.write_text(text + '\n[holding]\njaw_top = "8.2 mm"\n', encoding="utf-8")
    done = run("preview", job, "--out", tmp_path / "look")
    assert done.returncode == 0, done.stderr
    for what in ("nut's top", "saddle's crown", "saddle's round ends"):
        said = [s for s in done.stdout.splitlines() if f"{what} left to the hand" in s]
        assert len(said) == 1
        assert said[0].count("jaw_top 8.2 mm") == 1
    page = (tmp_path / "look" / "preview.html").read_text("utf-8")
    assert "jaw_top 8.2 mm" in page
    assert 'class="sheet"' in page


def until(true):
    end = time.monotonic() + PATIENCE
    while not (got := true()):
        assert time.monotonic() < end
        time.sleep(0.1)
    return got


@pytest.fixture
def watched(tmp_path):
    """(job, folder) of a run that watches, broken off at the end as a maker would."""
    job, out = tmp_path / "job.toml", tmp_path / "look"
    job.write_text(STEEL.read_text("utf-8"), encoding="utf-8")
    words = [sys.executable, "-m", "blankcam", "preview", job, "--out", out, "--watch"]
    going = subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        until(lambda: b"-proven" in read(out / "preview-watch.js"))
        yield job, out, going
    finally:
        if going.poll() is None:
            going.send_signal(signal.SIGINT)
        going.wait(timeout=PATIENCE)


def read(path):
    return path.read_bytes() if path.exists() else b""


@pytest.mark.long
def test_a_file_that_an_editor_is_still_writing_is_no_fault(watched):
    """Emptied first, then written a moment later, or cut short: nothing is told of it."""
    job, out, _ = watched
    text, tells = job.read_text("utf-8"), out / "preview-watch.js"
    seen = set()
    for k, part in enumerate(("", text[: len(text) // 2], "")):
        before = read(tells)
        job.write_text(part, encoding="utf-8")
        begun = time.monotonic()
        while time.monotonic() - begun < 0.1:
            seen.add(read(tells))
            time.sleep(0.005)
        job.write_text(re.sub('margin_bass *= ".*?"', f'margin_bass = "3.{k} mm"', text), "utf-8")
        while read(tells) == before or b"-proven" not in read(tells):
            seen.add(read(tells))
            assert time.monotonic() < begun + PATIENCE
            time.sleep(0.01)
    assert len(seen) > 2
    assert not [each for each in seen if b"missing" in each or b"TOML" in each]


@pytest.mark.oracle
@pytest.mark.long
def test_the_open_page_follows_each_save_and_keeps_its_view(chromium, watched):
    job, out, going = watched
    text = job.read_text("utf-8")
    p = Page(chromium, out / "preview.html").open()
    page = p.page
    page.evaluate("blankcam.solidView.choose(2)")
    kept = p.chosen()
    page.check("input[name=unit][value=in]")
    page.check("input[name=side][value='4']")
    page.evaluate("document.querySelector('#aside details.notice').open = true")
    page.locator("#theme").click()
    page.evaluate("document.querySelector('#numbers').children[0].scrollIntoView()")
    head = page.evaluate(HEAD)
    page.evaluate("window.stood = true")  # lost where the page is loaded anew
    cell = page.locator("#table-nut tbody tr").first.locator("td").nth(1)
    before = cell.text_content()

    job.write_text(text.replace("tilt ", "tiltt ", 1), encoding="utf-8")
    page.wait_for_selector("#watched.fault", timeout=1000 * PATIENCE)
    assert "tiltt" in page.inner_text("#watched")
    assert cell.text_content() == before  # the page stands

    faulty = read(out / "preview-watch.js")  # names the page that stands: the one before it, proven
    changed(job, "margin_bass", '"3.9 mm"')
    until(lambda: read(out / "preview-watch.js") != faulty)
    until(lambda: b"-proven" in read(out / "preview-watch.js"))
    wanted = f"{3.9 / 25.4:.3f}"  # the first slot's centre, in inches
    page.locator("#table-nut tbody tr").first.get_by_text(wanted, exact=True).wait_for(
        timeout=1000 * PATIENCE
    )
    page.wait_for_selector(".verdict.good", timeout=1000 * PATIENCE)
    page.wait_for_selector("html[data-ready=yes]", timeout=1000 * PATIENCE)
    now = p.chosen()
    assert (now["chosen"], now["near"]) == (2, True)
    assert now["target"] == pytest.approx(kept["target"], abs=1e-6)
    assert page.evaluate("window.stood")
    assert page.is_checked("input[name=side][value='4']")
    assert page.evaluate("document.querySelector('#aside details.notice').open")
    assert page.evaluate("document.documentElement.dataset.theme") == "dark"
    assert page.evaluate(HEAD) == pytest.approx(head, abs=2)
    assert shown_by(p) == shown_anew(chromium, out / "preview.html")
    assert p.said == []
    assert {url.split("?")[0] for url in p.asked} == {
        (out / n).as_uri() for n in ("preview.html", "preview-watch.js", "preview-newer.js")
    }

    going.send_signal(signal.SIGINT)
    page.get_by_text("No longer watched").wait_for(timeout=1000 * PATIENCE)
    p.context.close()


def shown_by(p):
    """What a page says, draws and holds, in millimetres and of its second string."""
    p.page.check("input[name=unit][value=mm]")
    p.page.check("input[name=side][value='6']")
    p.page.evaluate("blankcam.solidView.choose(1)")
    p.rest()
    return p.page.evaluate(SHOWN)


def shown_anew(browser, file):
    p = Page(browser, file).open()
    shown = shown_by(p)
    p.context.close()
    return shown


def put(out, page, told=None):
    """A page as a run that watches writes it."""
    known = told or page.given.watch
    script = f'blankcam.watch.hear({{"page": "{known}", "fault": []}});'
    texts = {"preview.html": whole(page), "preview-newer.js": newer(page)}
    for name, text in {**texts, "preview-watch.js": script}.items():
        transaction.write_whole(out / name, text.encode(), replace=True)


def drawn(tmp_path, margin):
    """A page of the demo job with that margin, known by it."""
    job = job_file.load(str(changed(tmp_path / "job.toml", "margin_bass", f'"{margin} mm"')))
    draft = draw(job, machine_of(job, None), Stage.ROUGH, proven=False)
    return page_written(draft, watch=str(margin), waiting=True)


@pytest.mark.oracle
@pytest.mark.long
def test_the_last_of_pages_that_come_in_haste_is_shown_and_another_programs_is_loaded(
    chromium, tmp_path, monkeypatch
):
    from playwright.sync_api import Error

    pages = [drawn(tmp_path, margin) for margin in (3.5, 3.6, 3.7, 3.8)]
    put(tmp_path, pages[0])
    p = Page(chromium, tmp_path / "preview.html").open()
    p.page.evaluate("window.stood = true")

    def place():
        """Of the first slot; None while the page is being loaded."""
        try:
            return p.page.evaluate("window.blankcam?.solidView?.data?.parts[0].spots[0].x")
        except Error:
            return None

    first = place()
    for page in pages[1:3]:
        put(tmp_path, page)
    until(lambda: place() == pytest.approx(first + 0.2))
    put(tmp_path, pages[1], told=pages[3].given.watch)  # one that is gone already is told of
    until(lambda: place() == pytest.approx(first + 0.1))
    put(tmp_path, pages[3])
    until(lambda: place() == pytest.approx(first + 0.3))
    assert p.page.evaluate("window.stood")
    assert p.said == []

    monkeypatch.setattr("blankcam.preview.page._style", lambda: "/* newer */")
    put(tmp_path, pages[0])
    until(lambda: (at := place()) is not None and at == pytest.approx(first))
    assert p.page.evaluate("window.stood") is None
    p.context.close()


DROPPED = """
import sys, time
from blankcam.workflows.preview import _done_while
def slow(name):
    time.sleep(60)
    return b"late"
end = time.monotonic() + 1.0
began = time.monotonic()
print(_done_while(lambda: time.monotonic() < end, slow, "x"), time.monotonic() - began < 30)
print(_done_while(lambda: True, bytes, b"kept"))
"""


def test_the_proof_of_a_job_that_is_saved_again_is_dropped():
    """In a process of its own, which is forked only where there is a single thread."""
    if cores() < 2:
        pytest.skip("with one core the proof is worked out in line")
    one_thread = os.environ | {"OPENBLAS_NUM_THREADS": "1"}  # as the command has it
    words = [sys.executable, "-c", DROPPED]
    done = subprocess.run(words, capture_output=True, text=True, check=True, env=one_thread)
    assert done.stdout.splitlines() == ["None True", "b'kept'"]


def test_no_proof_is_begun_for_a_job_that_is_saved_again_at_once(monkeypatch):
    """The browser has the computer to itself to draw; the proof would be thrown away."""
    begun = []
    monkeypatch.setattr(preview, "_done_while", lambda *a: begun.append(a))
    pages = preview._pages(
        str(STEEL), lambda job: machine_of(job, None), Stage.ROUGH, stands=lambda: False
    )
    assert len(list(pages)) == 1
    assert not begun
    list(preview._pages(str(STEEL), lambda job: machine_of(job, None), Stage.ROUGH, lambda: True))
    assert len(begun) == 1


def test_a_job_that_is_not_there_is_told_and_not_waited_for(tmp_path):
    done = run("preview", tmp_path / "no.toml", "--out", tmp_path / "look", "--watch")
    refused(done, 2, "there is no such file")
    assert not (tmp_path / "look").exists()


@pytest.mark.oracle
@pytest.mark.long
def test_a_page_that_waits_says_so_and_claims_nothing_of_who_cuts(chromium, tmp_path):
    job = job_file.load(str(STEEL))
    draft = draw(job, machine_of(job, None), Stage.ROUGH, proven=False)
    file = tmp_path / "preview.html"
    page = whole(page_written(draft, watch="x-drawn", waiting=True))
    file.write_text(page, encoding="utf-8")
    p = Page(chromium, file).open()
    text = p.page.inner_text("main").lower()
    assert "working it out" in text
    for claim in ("good to cut", "left to the file", "made with", "milled with"):
        assert claim not in text
    assert p.page.inner_text("#slot-stage") == "finished; the other steps are being worked out"
    assert "not known yet" in p.page.inner_text("#standing-words")
    p.at("finished")
    assert p.page.inner_text("#slot-stage") == "finished"
    p.context.close()


@pytest.mark.long
def test_a_page_that_is_not_watched_asks_for_nothing(tmp_path):
    done = run("preview", STEEL, "--out", tmp_path / "look", "--machine", "hand-bench")
    assert done.returncode == 0
    page = (tmp_path / "look" / "preview.html").read_text("utf-8")
    policy = re.search(r'Content-Security-Policy" content="([^"]+)"', page)[1]
    assert "file:" not in policy
    assert not (tmp_path / "look" / "preview-watch.js").exists()
