"""The page in a real browser: drawn, moved, read aloud, printed. Source of the rules: WCAG 2.2."""

import dataclasses
import json
import re
import shutil
import subprocess
import time

import numpy as np
import pytest
from pypdf import PdfReader

from blankcam.parts.stage import Stage
from blankcam.preview import solids
from blankcam.preview.page import page as page_text
from blankcam.preview.values import page_values
from blankcam.replay.heightmap import Heightmap
from blankcam.replay.sweep import replay_moves
from blankcam.workflows.request import machine_of
from tests.conftest import REPO

pytestmark = [pytest.mark.oracle, pytest.mark.long]
SCRIPTS = REPO / "blankcam" / "preview" / "script"
DESK = {"width": 1200, "height": 900}
STANDINGS = ("blank", "rough", "refit", "finished")
PICTURE = """id => {
    const c = document.getElementById(id), g = c.getContext('webgl2');
    const p = new Uint8Array(4 * c.width * c.height);
    g.readPixels(0, 0, c.width, c.height, g.RGBA, g.UNSIGNED_BYTE, p);
    const seen = new Set();
    let hash = 0;
    for (let i = 0; i < p.length; i += 4) {
        const v = p[i] << 16 | p[i + 1] << 8 | p[i + 2];
        if (p[i + 3]) seen.add(v);
        hash = (hash * 31 + v + p[i + 3]) | 0;
    }
    return { colours: seen.size, hash };
}"""


class Page:
    """An opened page and everything that was said and asked for meanwhile."""

    def __init__(self, browser, file, **options):
        self.context = browser.new_context(**({"viewport": DESK} | options))
        self.page = self.context.new_page()
        self.page.set_default_timeout(60_000)  # a busy computer draws a frame in seconds
        self.said, self.asked = [], []
        self.page.on("console", self._hear)
        self.page.on("pageerror", lambda e: self.said.append(str(e)))
        self.page.on("request", lambda r: self.asked.append(r.url))
        self.file = file

    def _hear(self, message):
        if "GPU stall due to ReadPixels" not in message.text:  # these tests' own reading
            self.said.append(message.text)

    def open(self):
        self.page.goto(self.file.as_uri())
        self.page.wait_for_selector("html[data-ready=yes]", timeout=30_000)
        self.page.eval_on_selector_all(
            "details.more", "all => all.forEach(d => { d.open = true; })"
        )
        self.settle()
        return self

    def at(self, standing):
        """Put the slider to a step."""
        self.page.locator("#standing").fill(str(STANDINGS.index(standing)))
        self.settle()

    def chosen(self):
        """What is chosen and where the camera looks, once it has come to rest."""
        self.rest()
        return self.page.evaluate(
            "(() => { const v = blankcam.solidView; return { chosen: v.chosen, near: v.near,"
            " target: v.scene.camera.target, within: v.scene.look.within }; })()"
        )

    def rest(self):
        """Wait until the camera has come to rest and all is drawn, however busy this
        computer is.
        """
        self.settle()
        self.until("blankcam.solidView.scene.rests")

    def until(self, expression, seconds=60):
        """Wait for what the page's policy does not let the browser's own waiting evaluate."""
        end = time.monotonic() + seconds
        while not self.page.evaluate(expression):
            assert time.monotonic() < end, expression
            self.page.wait_for_timeout(50)

    def settle(self):
        self.page.evaluate(
            "new Promise(r => requestAnimationFrame(() => requestAnimationFrame(r)))"
        )

    def picture(self, name="solid-canvas"):
        self.settle()
        return self.page.evaluate(PICTURE, name)


@pytest.fixture
def opened(chromium):
    pages = []

    def opens(file, **options):
        pages.append(Page(chromium, file, **options))
        return pages[-1].open()

    yield opens
    for p in pages:
        p.context.close()


@pytest.fixture(scope="module")
def desk(chromium, steel_file):
    """One page shared by the tests that leave it as they found it."""
    p = Page(chromium, steel_file).open()
    yield p
    assert p.said == []
    p.context.close()


def test_it_opens_from_disk_asks_for_nothing_and_complains_of_nothing(opened, steel_file):
    p = opened(steel_file)
    assert p.asked == [steel_file.as_uri()]
    assert p.said == []
    assert p.page.evaluate("blankcam.fault") is None


def test_the_policy_stops_any_other_script(opened, steel_file):
    p = opened(steel_file)
    p.page.evaluate(
        "() => { const s = document.createElement('script'); s.textContent = 'window.bad = 1';"
        "document.body.append(s); }"
    )
    assert p.page.evaluate("window.bad") is None
    assert any("Content Security Policy" in s for s in p.said)


def test_the_pictures_are_not_blank(desk):
    assert desk.picture("solid-canvas")["colours"] > 20
    assert desk.picture("cut-canvas")["colours"] > 5


def test_colouring_by_deviation_changes_picture_and_legend(desk):
    page = desk.page
    before = desk.picture()
    assert page.locator("#legend").is_hidden()
    page.check("#deviation")
    coloured = desk.picture()
    assert coloured["hash"] != before["hash"]
    ticks = page.locator("#legend .ticks span").all_text_contents()
    assert ticks == ["\u221220", "\u221210", "0", "+10", "+20"]
    page.select_option("#span", "50")
    assert desk.picture()["hash"] != coloured["hash"]
    assert page.locator("#legend .ticks span").last.text_content() == "+50"
    page.select_option("#span", "20")
    page.uncheck("#deviation")
    assert desk.picture()["hash"] == before["hash"]


def test_step_part_place_strings_and_views_each_change_the_picture(desk):
    page = desk.page
    start = seen = desk.picture()["hash"]
    for act in (
        lambda: desk.at("finished"),
        lambda: desk.at("blank"),
        lambda: page.uncheck("#strings"),
        lambda: page.check("input[name=where][value=alone]"),
        lambda: page.click("#view-front"),
        lambda: page.click("#view-top"),
        lambda: page.click("#view-end"),
        lambda: page.check("input[name=part][value='1']"),
    ):
        act()
        page.wait_for_timeout(80)
        now = desk.picture()["hash"]
        assert now != seen
        seen = now
    page.check("input[name=part][value='0']")
    desk.at("rough")
    page.check("#strings")
    page.check("input[name=where][value=seat]")
    page.click("#view-corner")
    page.wait_for_timeout(80)
    assert desk.picture()["hash"] == start


def test_the_slider_says_each_step_and_what_is_left(desk, steel):
    page, nut = desk.page, steel[0].nut
    said = {}
    for step in STANDINGS:
        desk.at(step)
        assert page.get_attribute("#standing", "aria-valuetext") == step
        said[step] = page.inner_text("#standing-words")
    assert f"{nut.allowance:.2f} mm left on the top" in said["rough"]
    assert f"{nut.hold_back:.2f} mm in the floors" in said["rough"]
    assert "readings" in said["refit"]
    assert len(set(said.values())) == 4
    desk.at("rough")


def by_key(page):
    page.focus("#solid-canvas")
    page.keyboard.press("4")


def by_card(page):
    page.locator("#choose-string label").nth(2).click()


def by_row(page):
    page.locator("#table-nut tbody tr").nth(2).locator("button").click()


def by_badge(page):
    page.locator("#solid-tags .number", has_text="4").click()


def by_tap(page):
    """On the front view, beside the middle of the third slot."""
    page.click("#view-front")
    page.uncheck("#strings")
    page.locator("#solid-canvas").scroll_into_view_if_needed()
    x, y = page.evaluate(
        """() => {
            const v = blankcam.solidView, r = v.scene.canvas.getBoundingClientRect();
            const [a, b] = v.scene.seen([v.part.spots[2].x + 0.9, 0, 6.2]);
            return [r.left + a, r.top + b];
        }"""
    )
    page.mouse.click(x, y)
    page.check("#strings")


@pytest.mark.parametrize("act", [by_key, by_card, by_row, by_badge, by_tap])
def test_choosing_a_string_brings_the_camera_to_its_slot_and_cuts_the_bone(desk, steel, act):
    page, slot = desk.page, steel[0].nut.slots[2]
    page.click("#view-corner")
    assert desk.chosen()["near"] is False
    act(page)
    got = desk.chosen()
    assert (got["chosen"], got["near"]) == (2, True)
    assert got["target"][0] == pytest.approx(slot.centre)
    assert min(abs(x - slot.centre) for x in got["within"]) < 1e-6
    assert page.is_checked("#choose-string input[value='2']")
    assert page.inner_text("#slot-string") == f"{slot.string}, {slot.note}"
    for box in ("#slot-along", "#slot-across"):
        name = page.locator(f"{box} svg[role=img]").get_attribute("aria-label")
        assert f"string {slot.string}" in name
    across = page.locator("#slot-across").text_content()
    for value in (slot.floor_front, slot.width, slot.floor_front + slot.depth_front):
        assert f"{value:.2f}" in across
    page.uncheck("#opened")
    assert desk.chosen()["within"] == pytest.approx([0.0, steel[0].nut.length])
    page.check("#opened")
    page.click("#view-corner")


def numbers_of(paths):
    """Each path's letters and numbers."""
    return [
        (re.findall("[MLAZ]", d), [float(n) for n in re.findall(r"-?[\d.]+", d)]) for d in paths
    ]


@pytest.mark.parametrize("box", ["slot-along", "slot-across", "seat-nut", "seat-saddle"])
def test_the_script_draws_a_section_as_the_markup_has_it(chromium, opened, steel_file, box):
    """The same lines with the script, from its packed steps, as without, from the page's text.

    But for a torn edge's wave, and for lines to where they already are, which it leaves out.
    """
    plain = chromium.new_context(java_script_enabled=False).new_page()
    plain.goto(steel_file.as_uri())
    there = opened(steel_file, viewport={"width": 1800, "height": 1000}).page
    asked = f"[...document.querySelectorAll('#{box} path:not(.k-torn)')].map(e => [e.className.baseVal, e.getAttribute('d')])"
    drawn = there.evaluate(asked)
    said = plain.locator(f"#{box} path:not(.k-torn)")
    written = [
        [
            p.get_attribute("class"),
            re.sub(r"(?<![\d.-])(-?[\d.]+ -?[\d.]+)(L\1(?=[A-Z]|$))+", r"\1", p.get_attribute("d")),
        ]
        for p in said.all()
    ]
    assert len(drawn) > 5
    assert [c for c, _ in drawn] == [c for c, _ in written]
    assert numbers_of(d for _, d in drawn) == numbers_of(d for _, d in written)
    plain.context.close()


def test_what_goes_and_the_section_keep_to_the_step_that_is_shown(desk):
    page = desk.page
    seen = {}
    for step in ("blank", "rough", "finished"):
        desk.at(step)
        seen[step] = page.inner_html("#slot-across")
        assert page.evaluate("blankcam.solidView.scene.goal === null") == (step == "finished")
        assert ('class="k-goes' in seen[step]) == (step != "finished")
    assert len(set(seen.values())) == 3
    desk.at("rough")


def test_a_string_whose_slot_waits_for_the_file_is_an_outline(desk, steel):
    """Kind 4 is drawn as two dashed lines over everything; it throws no shadow."""
    _, cuts, _ = steel
    milled = next(c for c in cuts if c.part == "nut").milled
    kinds = "blankcam.solidView.scene.solids.slice(-6).map(s => s.kind)"
    desk.at("rough")
    want = [s.string in milled for s in steel[0].nut.slots]
    assert any(want)
    assert not all(want)
    assert [k != 4 for k in desk.page.evaluate(kinds)] == want
    assert desk.page.evaluate("blankcam.solidView.scene.cords.length") == sum(want)
    desk.at("blank")
    assert set(desk.page.evaluate(kinds)) == {4}
    desk.at("finished")
    assert 4 not in desk.page.evaluate(kinds)
    desk.at("rough")


def test_words_in_the_picture_never_meet(desk):
    page = desk.page
    for act in ("choose(0)", "choose(5)", "turn('front')", "turn('end')", "turn('corner')"):
        page.evaluate(f"blankcam.solidView.{act}")
        desk.rest()
        boxes = page.evaluate(
            """() => [...document.querySelectorAll('#solid-tags span')]
                .filter((e) => e.style.visibility === 'visible')
                .map((e) => { const r = e.getBoundingClientRect(); return [r.left, r.top, r.right, r.bottom]; })"""
        )
        assert len(boxes) >= (1 if "end" in act else 3)  # from the end all lie behind one
        for k, a in enumerate(boxes):
            for b in boxes[k + 1 :]:
                assert a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] or b[3] <= a[1]


def test_nothing_is_drawn_while_nothing_moves(desk):
    page = desk.page
    desk.rest()
    frames = "[blankcam.solidView.scene.frames, blankcam.cutView.scene.frames]"
    before = page.evaluate(frames)
    page.wait_for_timeout(500)
    assert page.evaluate(frames) == before


@pytest.mark.parametrize(("width", "height"), [(1440, 900), (390, 844)])
def test_the_first_screen_holds_verdict_next_step_and_picture(opened, steel_file, width, height):
    p = opened(steel_file, viewport={"width": width, "height": height})
    for what in (".verdict", ".next", "#solid-canvas", "#choose-string"):
        box = p.page.locator(what).bounding_box()
        assert box["y"] >= 0
        assert box["y"] + min(box["height"], 44) <= height, what
    canvas = p.page.locator("#solid-canvas").bounding_box()
    assert canvas["y"] + canvas["height"] <= height
    assert not p.page.locator("details.notice ul").is_visible()
    assert p.page.locator(".notice.full li").first.is_visible()


def test_a_finger_over_the_picture_scrolls_the_page(opened, steel_file):
    """CSS Touch Action: pan-y leaves upright movement to the browser, focused or not."""
    p = opened(steel_file, has_touch=True, viewport={"width": 390, "height": 844})
    for focus in (False, True):
        if focus:
            p.page.focus("#solid-canvas")
        action = "e => getComputedStyle(e).touchAction"
        assert p.page.locator("#solid-canvas").evaluate(action) == "pan-y"


def test_a_place_pointed_at_says_its_height(desk, steel):
    page = desk.page
    page.click("#view-top")
    page.uncheck("#strings")
    desk.settle()
    slot = steel[0].nut.slots[1]
    page.locator("#solid-canvas").scroll_into_view_if_needed()
    x, y = page.evaluate(
        """([x, y]) => {
            const s = blankcam.solidView.scene, r = s.canvas.getBoundingClientRect();
            const [a, b] = s.seen([x, y, 0]);
            return [r.left + a, r.top + b];
        }""",
        [slot.centre, 3.0],
    )
    page.mouse.move(x, y)
    said = page.locator("#readout").inner_text().replace("\u00a0", " ")
    here = re.search(r"Here: ([\d.]+) mm from the left end, ([\d.]+) mm over the seat", said)
    assert float(here[1]) == pytest.approx(slot.centre, abs=0.05)
    assert slot.floor_front - 0.5 < float(here[2]) < slot.floor_front + 0.5
    assert "µm" in said or "as wanted" in said
    page.mouse.move(2, 2)
    page.check("#strings")
    page.click("#view-corner")


def stood(desk, index):
    """Heights the script leaves at the end of a program, on the picture's cells."""
    return np.array(
        desk.page.evaluate(
            """async i => {
                await blankcam.cutView.load(i);
                const r = blankcam.cutView.programs[i].replay;
                return Array.from(r.stand(r.path.n - 1, 0).z);
            }""",
            index,
        )
    )


ASIDE = 0.0012
"""mm: chords 1 µm, steps 0.2 µm."""


def aside(steel, index):
    """The proof's own lowest and highest heights up to ``ASIDE`` beside the picture's columns."""
    found, cuts, _ = steel
    cut, profile = cuts[index], machine_of(found.job, None)
    cells, stock = solids.cells(cut.proof.field), cut.programs[0].program.stock
    tools = {t.number: t for t in profile.tools}
    sides = []
    for by in (-ASIDE, 0.0, ASIDE):
        field = Heightmap(cells.x + by, cells.y, np.full(cells.z.shape, stock.z1))
        for moves in cut.moves:
            replay_moves(field, moves, tools, profile)
        sides.append(field.z)
    return np.min(sides, axis=0), np.max(sides, axis=0)


def stands_as_proven(got, want, beside=None):
    """Every cell within 3 µm of the proof's own height: chords 1 µm, steps 0.2 µm, cones none.

    Beside an upright wall a cell centre may fall to either side by rounding: there the height must
    lie between those of the neighbours, and such cells are few; or, where the proof was also asked
    for the heights ``beside`` the cells, between those.
    """
    gone = ~np.isfinite(want)
    assert np.array_equal(np.isnan(got), gone)
    got, want = np.where(gone, 0.0, got), np.where(gone, 0.0, want)
    off = np.abs(got - want)
    assert np.ptp(want) > 0.5  # something was cut
    if beside is not None:
        assert np.all((got >= beside[0] - 0.003) & (got <= beside[1] + 0.003))
        return
    wide = np.pad(want, 1, mode="edge")
    near = np.stack(
        [wide[1 + j : wide.shape[0] - 1 + j, 1 + i : wide.shape[1] - 1 + i]
         for i in (-1, 0, 1) for j in (-1, 0, 1)]
    )  # fmt: skip
    between = (got >= near.min(axis=0) - 0.003) & (got <= near.max(axis=0) + 0.003)
    assert np.all((off <= 0.003) | between)
    assert np.mean(off <= 0.003) > 0.9999


@pytest.mark.parametrize("index", range(4))
def test_the_scrubber_at_the_end_stands_where_the_proof_stands(desk, steel, index):
    want = solids.cells(steel[1][index].proof.field).z
    stands_as_proven(stood(desk, index).reshape(want.shape), want, aside(steel, index))


def test_on_edge_the_stock_is_what_the_outline_left(opened, faced):
    cuts, file = faced
    p = opened(file)
    setups = [(q.program.part, q.setup) for cut in cuts for q in cut.programs]
    p.page.evaluate("blankcam.cutView.load(0)")
    p.page.wait_for_timeout(300)
    assert p.page.evaluate("blankcam.cutView.held.length") >= 1  # on face too
    assert "waste board" in p.page.inner_text("#held")
    assert setups == [(part, s) for part in ("nut", "saddle") for s in ("face", "edge")]
    for index, cut in ((1, cuts[0]), (3, cuts[1])):
        want = solids.cells(cut.proof.field).z
        assert np.any(~np.isfinite(want) | (want < 0))  # waste has been cut through
        stands_as_proven(stood(p, index).reshape(want.shape), want)
    assert p.said == []


def test_going_back_and_forth_in_time_comes_to_the_same_stock(desk):
    same = desk.page.evaluate(
        """async () => {
            await blankcam.cutView.load(0);
            const r = blankcam.cutView.programs[0].replay;
            const k = Math.floor(r.path.n / 3);
            const first = r.stand(k, 0.5).z.slice();
            r.stand(r.path.n - 1, 0);
            r.stand(7, 0);
            const again = r.stand(k, 0.5).z;
            return first.every((v, i) => v === again[i]);
        }"""
    )
    assert same


def test_the_stock_comes_after_a_slider_that_is_pulled_fast(desk):
    """Only so much of it is worked out in a frame; where the slider rests it is all there."""
    page = desk.page
    page.evaluate("blankcam.cutView.load(0)")
    page.wait_for_timeout(300)
    page.evaluate(
        """() => {
            const v = blankcam.cutView, s = document.getElementById('scrub');
            v.replay.at = 0;
            v.replay.field.z.set(v.replay.kept.get(0));
            v.replay.kept = new Map([[0, v.replay.kept.get(0)]]);
            window.waited = 0;
            const stand = v.replay.stand.bind(v.replay);
            v.replay.stand = (...a) => { const r = stand(...a); window.waited += !v.replay.reached; return r; };
            s.value = s.max;
            s.dispatchEvent(new Event('input', { bubbles: true }));
        }"""
    )
    desk.until("blankcam.cutView.replay.reached")
    assert page.evaluate("waited") >= 1
    assert page.evaluate(
        """() => {
            const r = blankcam.cutView.replay;
            const shown = r.shown.z.slice();
            delete r.stand;
            return r.at === r.path.n - 1 && r.stand(r.path.n - 1, 0).z.every((v, i) => v === shown[i]);
        }"""
    )


def test_scrubbing_tells_line_tool_and_time_and_shows_the_text(desk, steel):
    page = desk.page
    page.select_option("#program", "0")
    page.click("#to-end")
    desk.settle()
    total = steel[1][0].programs[0].seconds
    clock = f"{round(total) // 60}:{round(total) % 60:02d}"
    assert page.inner_text("#time") == f"{clock} of about {clock}"
    current = page.inner_text("#listing .current").strip()
    number, text = re.fullmatch(r"(\d+)\s+(.*)", current).groups()
    assert steel[1][0].programs[0].text.splitlines()[int(number) - 1] == text
    assert page.inner_text("#line").startswith(f"Line {number} of ")
    page.click("#line-back")
    back = re.match(r"\s*(\d+)", page.inner_text("#listing .current"))[1]
    assert int(back) < int(number)
    assert page.inner_text("#tool").startswith("Tool ")


def test_the_camera_follows_the_tool_and_chapters_lead_to_operations(desk, steel):
    page = desk.page
    page.evaluate("blankcam.cutView.load(0)")
    page.wait_for_timeout(300)
    names = [o.name for o in steel[1][0].programs[0].program.operations]
    buttons = page.locator("#chapters button")
    assert [t.split(" T")[0] for t in buttons.all_text_contents()] == names
    buttons.last.click()
    assert f"Operation {len(names)} of {len(names)}" in page.inner_text("#doing")
    assert buttons.last.get_attribute("class") == "on"
    tool, target = page.evaluate(
        "[blankcam.cutView.scene.solids[0].shift, blankcam.cutView.scene.camera.target]"
    )
    assert target[:2] == pytest.approx(tool[:2])
    page.uncheck("#follow")
    assert page.evaluate("blankcam.cutView.scene.camera.size") == 0
    page.check("#follow")
    page.evaluate("blankcam.cutView.seek(blankcam.cutView.total / 2)")
    assert re.match("cuts|moves", page.inner_text("#meaning"))


def test_what_holds_the_blank_can_be_hidden(desk):
    page = desk.page
    page.evaluate("blankcam.cutView.seek(blankcam.cutView.total / 2)")
    seen = desk.picture("cut-canvas")["hash"]
    page.uncheck("#show-held")
    assert desk.picture("cut-canvas")["hash"] != seen
    page.check("#show-held")
    assert desk.picture("cut-canvas")["hash"] == seen


def test_play_moves_on_and_pauses(desk):
    page = desk.page
    page.evaluate("blankcam.cutView.seek(0)")
    page.select_option("#speed", "5")
    page.click("#play")
    desk.until("blankcam.cutView.now > 1")
    assert page.inner_text("#play") == "Pause"
    # While it plays every frame is drawn anew: a mouse click that waits for two equal frames would
    # judge how busy this computer is.
    page.dispatch_event("#play", "click")
    assert page.evaluate("blankcam.cutView.now") > 1
    assert page.inner_text("#play") == "Play"


def test_the_switch_to_inches_changes_every_length(desk, steel):
    """1 in is 25.4 mm exactly (international yard and pound agreement, 1959)."""
    page = desk.page
    cell = page.locator("#table-nut tbody tr").first.locator("td").nth(1)
    slot = steel[0].nut.slots[0]
    assert cell.text_content() == f"{slot.centre:.2f}"
    page.check("input[name=unit][value=in]")
    assert cell.text_content() == f"{slot.centre / 25.4:.3f}"
    assert page.locator("#table-nut thead .unit").first.text_content() == "in"
    drawn = page.locator("svg.elevation").first.text_content()
    assert f"{slot.centre / 25.4:.3f}" in drawn
    page.check("input[name=unit][value=mm]")
    assert cell.text_content() == f"{slot.centre:.2f}"


MEETING = """() => [...document.querySelectorAll('.slot .sheet')].flatMap(svg => {
    const boxes = [...svg.querySelectorAll('text')].map(e => [e.textContent, e.getBoundingClientRect()]);
    return boxes.flatMap(([a, p], i) => boxes.slice(i + 1)
        .filter(([, q]) => p.left + 1 < q.right && q.left + 1 < p.right && p.top + 4 < q.bottom && q.top + 4 < p.bottom)
        .map(([b]) => a + ' | ' + b));
})"""


@pytest.mark.parametrize("wide", [1800, 390])
@pytest.mark.parametrize("unit", ["mm", "in"])
def test_drawings_of_slots_and_seats_speak_the_unit_chosen_and_no_words_meet(
    opened, steel_file, steel, unit, wide
):
    """1 in is 25.4 mm exactly (international yard and pound agreement, 1959)."""
    page = opened(steel_file, viewport={"width": wide, "height": 900}).page
    page.check(f"input[name=unit][value={unit}]")
    nut, saddle = steel[0].nut, steel[0].saddle
    for i, slot in enumerate(nut.slots):
        page.evaluate(f"blankcam.solidView.choose({i})")
        said = {box: page.locator(box).text_content() for box in
                ("#slot-along", "#slot-across", "#seat-nut", "#seat-saddle", "#seat-plan")}  # fmt: skip
        for box, mm in (
            ("#slot-along", slot.lift),
            ("#slot-across", slot.width),
            ("#slot-across", slot.floor_front),
            ("#seat-nut", slot.lift),
            ("#seat-saddle", saddle.strings[i].height),
            ("#seat-plan", saddle.strings[i].compensation),
        ):
            wanted = f"{mm:.2f}" if unit == "mm" else f"{mm / 25.4:.3f}"
            assert wanted in said[box], (box, slot.string)
        name = page.locator("#slot-across svg").get_attribute("aria-label")
        assert f" {unit} wide" in name
        assert page.evaluate(MEETING) == []
    assert f"{nut.allowance:.2f} mm left" in page.inner_text("#standing-words") or unit == "in"
    assert (
        f"{nut.allowance / 25.4:.3f} in left" in page.inner_text("#standing-words") or unit == "mm"
    )


def test_a_page_asked_for_in_inches_opens_in_them(opened, steel, tmp_path):
    file = tmp_path / "inches.html"
    file.write_text(page_text(dataclasses.replace(steel[2], units="in")), encoding="utf-8")
    page = opened(file).page
    assert page.is_checked("input[name=unit][value=in]")
    slot = steel[0].nut.slots[0]
    assert f"{slot.width / 25.4:.3f} wide" in page.locator("#slot-across").text_content()
    cell = page.locator("#table-nut tbody tr").first.locator("td").nth(1)
    assert cell.text_content() == f"{slot.centre / 25.4:.3f}"


def test_a_table_is_copied_as_rows_and_columns(desk, steel):
    rows = desk.page.evaluate("blankcam.main.rows(document.getElementById('table-nut'))").split(
        "\n"
    )
    assert len(rows) == 1 + len(steel[0].nut.slots)
    assert {r.count("\t") for r in rows} == {9}
    assert rows[1].split("\t")[0] == "6 E2"


def test_the_keyboard_alone_reaches_and_does_everything(opened, steel_file):
    """WCAG 2.2, 2.1.1 Keyboard and 2.4.7 Focus Visible."""
    p = opened(steel_file)
    page = p.page
    reached, outlines = [], set()
    for _ in range(140):
        page.keyboard.press("Tab")
        got = page.evaluate(
            "() => { const e = document.activeElement; return [e.id || e.name || e.textContent,"
            " getComputedStyle(e).outlineStyle]; }"
        )
        if page.evaluate("document.activeElement === document.body"):
            break  # once round
        reached.append(got[0])
        outlines.add(got[1])
    for name in ("unit", "theme", "print", "solid-canvas", "part", "where", "string", "standing",
                 "strings", "opened", "deviation", "span", "program", "cut-canvas", "scrub", "play",
                 "6 E2"):  # fmt: skip
        assert name in reached
    assert "none" not in outlines
    before = p.picture()["hash"]
    page.focus("#solid-canvas")
    for keys in ("ArrowLeft", "ArrowUp", "+", "Shift+ArrowRight"):
        page.keyboard.press(keys)
        now = p.picture()["hash"]
        assert now != before
        before = now
    page.focus("#choose-string input:checked")
    page.keyboard.press("ArrowRight")
    assert p.chosen()["chosen"] == 1
    assert "String 5, A2" in page.inner_text("#readout")
    page.focus("#scrub")
    page.keyboard.press("End")
    assert page.evaluate("blankcam.cutView.now") == page.evaluate("blankcam.cutView.total")


@pytest.mark.parametrize("width", [320, 390])
def test_a_phone_needs_no_sideways_scroll(opened, steel_file, width):
    """WCAG 2.2, 1.4.10 Reflow: 320 CSS pixels."""
    p = opened(steel_file, viewport={"width": width, "height": 740}, has_touch=True)
    assert p.page.evaluate("document.documentElement.scrollWidth") <= width
    assert p.picture()["colours"] > 20


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_print_is_two_sheets_with_the_numbers(desk, steel, tmp_path, paper):
    out = tmp_path / "handout.pdf"
    desk.page.pdf(path=str(out), format=paper, print_background=True)
    pages = PdfReader(out).pages
    assert len(pages) == 2
    text = " ".join(p.extract_text() for p in pages)
    assert steel[2].title in text
    assert f"{steel[0].nut.slots[2].centre:.2f}" in text
    assert "emergency stop" in text
    assert "Play" not in text


@pytest.mark.parametrize("width", [1440, 768, 390])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_no_serious_fault(opened, steel_file, node_modules, scheme, width):
    p = opened(steel_file, color_scheme=scheme, viewport={"width": width, "height": 900})
    p.page.check("#deviation")
    p.page.evaluate((node_modules / "axe-core" / "axe.min.js").read_text(encoding="utf-8"))
    found = p.page.evaluate(
        "axe.run({runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']})"
    )
    bad = {
        v["id"]: [n["html"][:120] for n in v["nodes"]]
        for v in found["violations"]
        if v["impact"] in ("serious", "critical")
    }
    assert bad == {}
    assert len(found["passes"]) > 20


def test_hostile_words_are_shown_as_text(opened, hostile_file):
    p = opened(hostile_file)
    page = p.page
    evil = "</script><script>document.title='broken'</script>\\u202e<img src=x onerror=alert(1)>"
    assert page.inner_text("h1") == evil
    assert page.title() == evil
    assert page.inner_text(".cautions li") == evil
    assert evil in page.inner_text("#readout")
    assert evil in page.inner_text("#choose-side")
    assert page.locator("img").count() == 0
    assert p.said == []
    assert p.asked == [hostile_file.as_uri()]


def test_without_programs_the_wanted_shape_is_shown_and_said_to_be_that(opened, hostile_file):
    p = opened(hostile_file)
    assert "no program was replayed" in p.page.inner_text("#solid-source")
    assert p.page.locator(".cut").count() == 0
    assert p.picture()["colours"] > 20
    p.page.check("#deviation")
    assert p.page.locator("#no-deviation").is_visible()


@pytest.mark.parametrize(
    "lacks",
    ["HTMLCanvasElement.prototype.getContext = () => null", "delete window.DecompressionStream"],
    ids=["webgl", "inflating"],
)
def test_a_browser_that_lacks_something_gets_a_sentence_and_the_drawings(
    chromium, steel_file, lacks
):
    p = Page(chromium, steel_file)
    p.page.add_init_script(lacks)
    p.open()
    assert "need a newer browser" in p.page.inner_text("#no-picture")
    assert not p.page.locator("#solid-canvas").is_visible()
    assert p.page.locator("svg.elevation").first.is_visible()
    assert p.page.locator("#slot-along svg").is_visible()
    p.page.check("input[name=unit][value=in]")
    assert p.page.locator("#table-nut thead .unit").first.text_content() == "in"
    assert p.said == []
    p.context.close()


def test_without_scripts_the_drawings_stand(opened, chromium, steel_file):
    context = chromium.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(steel_file.as_uri())
    assert "Scripts are off" in page.content()
    assert page.locator("svg.elevation").count() == 2
    assert page.locator("#table-nut").is_visible()
    context.close()


# The script's own parts, run where they live


def dense(tool, start, end, x, y):
    """Lowest heights of a moving tool by brute force: its shape at many places along the move."""
    out = np.full((len(y), len(x)), np.inf)
    radius, half = tool["diameter"] / 2, np.radians(tool["angle"] / 2)
    for t in np.linspace(0.0, 1.0, 4001):
        p = np.array(start) + t * (np.array(end) - np.array(start))
        r = np.hypot(x[None, :] - p[0], y[:, None] - p[1])
        if tool["shape"] == "flat":
            h = np.zeros_like(r)
        elif tool["shape"] == "ball":
            h = radius - np.sqrt(np.maximum(radius**2 - r**2, 0.0))
        elif tool["shape"] == "vee":
            h = np.maximum(r - tool["tip"] / 2, 0.0) / np.tan(half)
        else:
            ball = tool["tip"] / 2
            seam = ball * np.cos(half)
            inner = np.minimum(r, seam)
            h = ball - np.sqrt(ball**2 - inner**2) + np.maximum(r - seam, 0.0) / np.tan(half)
        out = np.minimum(out, np.where(r <= radius, p[2] + h, np.inf))
    return out


TOOLS = [
    {"shape": "flat", "diameter": 1.5, "tip": 0, "angle": 0},
    {"shape": "ball", "diameter": 1.5, "tip": 0, "angle": 0},
    {"shape": "vee", "diameter": 2.0, "tip": 0.2, "angle": 60},
    {"shape": "tapered ball", "diameter": 2.0, "tip": 0.6, "angle": 20},
]
MOVES = [
    ((1, 1, 1), (4, 1, 1)),
    ((1, 1, 2), (4, 2.5, 0.5)),
    ((2.5, 1.5, 3), (2.5, 1.5, 0.25)),
    ((4, 2, 0.5), (1.2, 0.4, 1.9)),
]


@pytest.mark.parametrize("tool", TOOLS, ids=lambda t: t["shape"])
def test_the_sweep_is_the_limit_of_dense_stamps(desk, tool):
    """4001 stamps a move; steep ends of the stamps set the bound, 2 µm."""
    x, y = 0.05 + 0.1 * np.arange(50), 0.05 + 0.1 * np.arange(30)
    for start, end in MOVES:
        got = desk.page.evaluate(
            """([tool, a, b]) => {
                const z = new Float64Array(1500).fill(9);
                const field = { nx: 50, ny: 30, x0: 0.05, dx: 0.1, y0: 0.05, dy: 0.1, z };
                blankcam.sweep.sweep(field, blankcam.sweep.form(tool), ...a, ...b);
                return Array.from(z);
            }""",
            [tool, start, end],
        )
        got = np.array(got).reshape(30, 50)
        want = np.minimum(dense(tool, start, end, x, y), 9.0)
        rim = tool["diameter"] / 2
        line = np.array(end[:2]) - np.array(start[:2])
        away = np.stack(np.broadcast_arrays(x[None, :] - start[0], y[:, None] - start[1]))
        t = np.clip(np.tensordot(line, away, 1) / max(line @ line, 1e-12), 0, 1)
        r = np.hypot(away[0] - t * line[0], away[1] - t * line[1])
        clear = np.abs(r - rim) > 0.005  # at the rim the stamps may just miss a cell
        assert np.all(got <= want + 1e-9)
        if tool["shape"] == "flat":
            clear &= want - got < 10  # judged below by its lowest edge
        assert np.max((want - got)[clear]) < 0.002


def test_colours_are_those_of_the_published_examples(desk):
    """CSS Color 4, sample values of oklch for red, lime and blue of sRGB."""
    for (lightness, chroma, hue), rgb in (
        ((0.6279553606, 0.2576833077, 29.2338851923), (1, 0, 0)),
        ((0.8664396115, 0.2948272403, 142.4953388878), (0, 1, 0)),
        ((0.4520137184, 0.3132143732, 264.0520206348), (0, 0, 1)),
    ):
        got = desk.page.evaluate("v => blankcam.colour.oklch(...v)", [lightness, chroma, hue])
        assert np.allclose(got, rgb, atol=2e-3)


# Machado, Oliveira and Fernandes, IEEE TVCG 15 (2009), severity 1.0; figures from memory
BLINDNESS = {
    "protan": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216],
               [-0.003882, -0.048116, 1.051998]],
    "deutan": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413],
               [-0.011820, 0.042940, 0.968881]],
    "tritan": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602],
               [0.004733, 0.691367, 0.303900]],
}  # fmt: skip


@pytest.mark.parametrize("kind", BLINDNESS)
def test_too_deep_and_too_high_look_different_to_everyone(desk, kind):
    """From a quarter of the scale on, the two sides stay at least 0.06 of sRGB apart."""
    scale = np.array(
        desk.page.evaluate("[...Array(41)].map((_, i) => blankcam.colour.scale(i/20-1))")
    )
    linear = np.where(scale <= 0.04045, scale / 12.92, ((scale + 0.055) / 1.055) ** 2.4)
    seen = np.clip(linear @ np.array(BLINDNESS[kind]).T, 0, 1)
    seen = np.where(seen <= 0.0031308, 12.92 * seen, 1.055 * seen ** (1 / 2.4) - 0.055)
    for k in range(5, 21):
        assert np.linalg.norm(seen[20 - k] - seen[20 + k]) > 0.06
    light = seen @ np.array([0.2126, 0.7152, 0.0722])
    assert np.all(np.diff(light[:21]) > 0)
    assert np.all(np.diff(light[20:]) < 0)


def test_lengths_are_shown_as_makers_write_them(desk):
    shown = desk.page.evaluate(
        """() => {
            const u = blankcam.units;
            const mm = [u.shown(1.005, 2), u.shown(-0.001, 2), u.shown(0.5, 1, true), u.length(3, 2)];
            u.use('in', document.createElement('div'));
            const inch = [u.shown(25.4, 2), u.shown(-12.7, 3, true)];
            u.use('mm', document.createElement('div'));
            return [...mm, ...inch];
        }"""
    )
    assert shown == ["1.00", "0.00", "+0.5", "3.00\u00a0mm", "1.000", "\u22120.5000"]


def test_the_script_is_sound_to_a_linter(node_modules, tmp_path):
    """eslint's own recommended rules, each file by itself."""
    node = shutil.which("node")
    (tmp_path / "eslint.config.mjs").write_text(
        f"import js from {json.dumps((node_modules / '@eslint/js/src/index.js').as_uri())};\n"
        "const names = 'window document requestAnimationFrame cancelAnimationFrame ResizeObserver "
        "Response Blob DecompressionStream TextDecoder atob matchMedia performance navigator "
        "getSelection setTimeout'.split(' ');\n"
        "export default [js.configs.recommended, { languageOptions: { sourceType: 'script', "
        "globals: Object.fromEntries(names.map(n => [n, 'readonly'])) } }];\n"
    )
    for f in SCRIPTS.glob("*.js"):
        shutil.copy(f, tmp_path)
    done = subprocess.run(
        [node, str(node_modules / "eslint/bin/eslint.js"), "--max-warnings", "0",
         *sorted(f.name for f in SCRIPTS.glob("*.js"))],
        cwd=tmp_path, capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr


def test_a_page_of_each_stage_alone_begins_with_that_stage(steel):
    """The stage shown first is that of the programs."""
    for stage in Stage:
        programs = tuple(p for p in steel[2].programs if p.stage == stage)
        assert page_values(dataclasses.replace(steel[2], programs=programs))["stage"] == stage
