"""How long from a save to the changed picture, in a page that stands open in Chromium.

Wanted: within a second on a computer that counts to 20 million as COUNT does in a second. Told, not
judged; the count is taken between the saves too, as other programs may run meanwhile. Each save
moves the outer slot; the picture is taken to be there once a frame with the new place is drawn to
its last pixel. The proof of a save before is often still under way. Told beside it is how
much of that the run takes to write the page: the rest is Chromium's, which here draws what turns
without a graphics processor.
"""

import re
import signal
import statistics
import subprocess
import sys
import time

import pytest

from tests.conftest import STEEL
from tests.outputs.test_sheet import MANY

SAVES, FEW = 20, 4
"""Saves; and as many where tests run beside it, so that no figure counts."""
PATIENCE = 120.0
COUNT = "sum(i * i for i in range(20_000_000))"
CENTRE = (
    "() => { const v = window.blankcam && blankcam.solidView;"
    " return document.documentElement.dataset.ready === 'yes' && v ? v.data.parts[0].spots[0].x"
    " : NaN; }"
)
FRAME = """() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(() => {
    const { gl } = blankcam.solidView.scene;
    gl.readPixels(0, 0, 1, 1, gl.RGBA, gl.UNSIGNED_BYTE, new Uint8Array(4));
    done();
})))"""


def with_margin(text, margin):
    changed, count = re.subn(
        r"(?m)^(margin_bass\s*=\s*).*$", rf'\g<1>"{margin:.2f} mm"', text, count=1
    )
    assert count == 1
    return changed


def written(strings):
    """A job's text; the centre of its first slot lies ``margin_bass`` from the left end."""
    if strings == 6:
        return STEEL.read_text("utf-8")
    return f'{MANY}[nut]\nmargin_bass = "3.40 mm"\nmargin_to = "centre"\n'


def counting():
    begun = time.perf_counter()
    subprocess.run([sys.executable, "-c", COUNT], check=True)
    return time.perf_counter() - begun


def centre(page):
    """Of the outer slot as the open page has it; NaN while it is being loaded."""
    from playwright.sync_api import Error

    try:
        return page.evaluate(CENTRE)
    except Error:  # the page was left for the next one meanwhile
        return float("nan")


def shown(page, place):
    """Seconds until the page has drawn the slot in that place."""
    from playwright.sync_api import Error

    begun = time.perf_counter()
    while time.perf_counter() < begun + PATIENCE:
        if abs(centre(page) - place) < 1e-6:
            try:
                page.evaluate(FRAME)
            except Error:  # left for the proven page before it drew
                continue
            return time.perf_counter() - begun
        time.sleep(0.01)
    raise TimeoutError(place)


def saved(job, text, margin):
    job.write_text(with_margin(text, margin), encoding="utf-8")
    return margin


@pytest.mark.benchmark
@pytest.mark.oracle
@pytest.mark.parametrize("strings", [6, 24])
def test_from_a_save_to_the_changed_picture(strings, chromium, benchmark, tmp_path):
    text = written(strings)
    job, out = tmp_path / "job.toml", tmp_path / "look"
    first = float(re.search(r'(?m)^margin_bass\s*=\s*"([\d.]+)', text)[1])  # the first centre
    job.write_text(text, encoding="utf-8")
    words = [sys.executable, "-m", "blankcam", "preview", job, "--out", out, "--watch"]
    told = tmp_path / "told.txt"
    with told.open("w") as said:
        going = subprocess.Popen(words, stdout=said)
    try:
        end = time.monotonic() + PATIENCE
        while not (out / "preview.html").exists():
            assert time.monotonic() < end
            time.sleep(0.1)
        page = chromium.new_page()
        page.goto((out / "preview.html").as_uri())
        shown(page, first)
        took, counts = [], [counting()]
        for i in range(FEW if benchmark.disabled else SAVES):
            time.sleep(0.5 + 0.37 * (i % 5))
            took.append(shown(page, saved(job, text, first + 0.02 * (i % 7 + 1))))
            if i % 5 == 4:
                counts.append(counting())
    finally:
        going.send_signal(signal.SIGINT)
        going.wait(timeout=PATIENCE)
    benchmark.pedantic(lambda: None, rounds=1)
    drawn = [
        float(s)
        for s in re.findall(r"new\s+shapes\s+drawn\s+in\s+([\d.]+)\s+s", told.read_text("utf-8"))
    ]
    figures = {
        "median, s": statistics.median(took),
        "worst, s": max(took),
        "of which drawn by the run, median, s": statistics.median(drawn),
        "count, median, s": statistics.median(counts),
    }
    benchmark.extra_info |= {name: round(value, 2) for name, value in figures.items()}
    print(strings, "strings:", {name: round(value, 2) for name, value in figures.items()})
