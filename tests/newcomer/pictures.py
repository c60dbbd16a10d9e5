"""Draws the pictures of the papers from what the program writes for the demo job today.

``python -m tests.newcomer.pictures`` needs Chromium and pdftoppm. Drawn by hand, and not here, are
the three drawings of where to measure.
"""

import io
import shutil
import subprocess
import tempfile
from pathlib import Path

from PIL import Image
from playwright.sync_api import sync_playwright

from tests.conftest import CHROMIUM_FLAGS, REPO, STEEL
from tests.installed import run
from tests.newcomer.papers import DOCS

README_PICTURES = REPO / ".pictures"
DOCS_PICTURES = DOCS / "pictures"
DESK = {"width": 1440, "height": 900}
COLOURS = 256
EDGE = 3
"""Pixels of a canvas' rounded border that are left out."""
GAP = 8
"""Pixels between the four pictures of the steps."""
STEP = (540, 300)
DPI = 120
CROP = (0, 0, 992, 1260)
"""Of the sheet's first page at that resolution: what lies above the lower half."""


def made(folder, stage):
    out = folder / stage
    done = run("make", STEEL, "--out", out, "--stage", stage)
    assert done.returncode == 0, done.stderr
    return out


def opened(browser, out):
    page = browser.new_page(viewport=DESK)
    page.goto((out / "preview.html").as_uri())
    page.wait_for_selector("html[data-ready=yes]", timeout=30_000)
    return page


def shot(page, canvas):
    """A canvas as it now is."""
    page.evaluate("new Promise(r => requestAnimationFrame(() => requestAnimationFrame(r)))")
    picture = Image.open(io.BytesIO(page.locator(f"#{canvas}").screenshot()))
    return picture.crop((EDGE, EDGE, picture.width - EDGE, picture.height - EDGE))


def with_program(page, number):
    """Choose a program, and wait until the page has unpacked it and stands at its start."""
    label = page.locator("#program option").all_text_contents()[number]
    page.select_option("#program", label=label)
    page.wait_for_function(
        f"blankcam.cutView.replay === blankcam.cutView.programs[{number}].replay"
    )


def cut_at(page, program, share):
    """The page's cut at a share of a program's time, without its path."""
    with_program(page, program)
    page.uncheck("#show-path")
    page.uncheck("#follow")
    page.evaluate(f"blankcam.cutView.seek(blankcam.cutView.total * {share})")
    return shot(page, "cut-canvas")


def fitted(picture, size):
    """A picture as wide as a size, its middle, on its own ground."""
    whole = Image.new("RGB", size, picture.getpixel((8, 8)))
    high = round(picture.height * size[0] / picture.width)
    whole.paste(picture.resize((size[0], high), Image.LANCZOS), (0, (size[1] - high) // 2))
    return whole


def steps(pictures):
    """Four pictures in two rows of two."""
    wide, high = STEP
    whole = Image.new("RGB", (2 * wide + GAP, 2 * high + GAP), "white")
    for i, picture in enumerate(pictures):
        place = (i % 2 * (wide + GAP), i // 2 * (high + GAP))
        whole.paste(fitted(picture.convert("RGB"), STEP), place)
    return whole


def section(page):
    """The part of the page that shows the cut, with its program."""
    page.check("#show-path")
    page.check("#follow")
    with_program(page, 1)
    page.evaluate("blankcam.cutView.seek(blankcam.cutView.total * 0.62)")
    page.locator("#cut-canvas").scroll_into_view_if_needed()
    page.evaluate("new Promise(r => requestAnimationFrame(() => requestAnimationFrame(r)))")
    return Image.open(io.BytesIO(page.locator(".player").screenshot()))


def slot(page):
    """The chosen string's slot, cut along and across."""
    page.evaluate("blankcam.solidView.choose(0)")
    page.wait_for_timeout(600)
    return Image.open(io.BytesIO(page.locator(".slot .sections").first.screenshot()))


def seats(page):
    """Nut and saddle in the instrument."""
    return Image.open(io.BytesIO(page.locator(".instrument .sections").screenshot()))


def sheet(out):
    """The sheet's first page."""
    words = ["pdftoppm", "-r", str(DPI), "-f", "1", "-l", "1", "-png", "-singlefile"]
    subprocess.run([*words, out / "sheet.pdf", out / "first"], check=True, timeout=60)
    return Image.open(out / "first.png").crop(CROP)


def kept(picture, path):
    picture.convert("RGB").quantize(COLOURS).save(path, optimize=True)


def draw(folder):
    rough, final = made(folder, "rough"), made(folder, "final")
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=list(CHROMIUM_FLAGS))
        page, done = opened(browser, rough), opened(browser, final)
        kept(shot(page, "solid-canvas"), README_PICTURES / "nut.png")
        kept(seats(page), DOCS_PICTURES / "seats.png")
        kept(slot(page), DOCS_PICTURES / "slot.png")
        page.click("#view-corner")
        kept(section(page), DOCS_PICTURES / "cut.png")
        four = [cut_at(page, 0, 0), cut_at(page, 0, 1), cut_at(page, 1, 1)]
        kept(steps([*four, shot(done, "solid-canvas")]), README_PICTURES / "steps.png")
        done.check("input[name=part][value='1']")
        kept(shot(done, "solid-canvas"), DOCS_PICTURES / "saddle.png")
        browser.close()
    kept(sheet(rough), DOCS_PICTURES / "sheet.png")


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as scratch:
        draw(Path(scratch))
