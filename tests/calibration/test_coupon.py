"""The test piece through the installed command: cut, measured, questioned, and a profile that
works.
"""

import json
import random
import re
from itertools import pairwise

import pytest

from blankcam.calibration import slips
from blankcam.calibration.measures import measures_of
from blankcam.calibration.piece import coupon_for
from blankcam.inputs.machine_file import read_profile
from blankcam.workflows import coupon
from tests.calibration import simulated, workshop
from tests.conftest import REPO, STEEL
from tests.installed import run
from tests.oracle import interpreter

TOOLS = [1, 2, 3, 4]


@pytest.fixture(scope="module")
def piece(tmp_path_factory):
    out = tmp_path_factory.mktemp("coupon") / "piece"
    done = run("coupon", "--machine", "light-router", "--out", out, "--tools", "1,2,3,4")
    assert done.returncode == 0, done.stderr
    return workshop.Piece.written(out, "light-router")


@pytest.fixture(scope="module")
def machine():
    return simulated.Machine.drawn(random.Random(7), TOOLS)


@pytest.fixture(scope="module")
def readings(piece, machine):
    return piece.readings(machine, random.Random(8))


@pytest.fixture
def extra(piece):
    """What the file to fill in says of itself."""
    head = (piece.folder / "coupon.toml").read_text().split("[piece]")[0]
    return "\n".join(line for line in head.splitlines() if line and not line.startswith("#"))


def measured(tmp_path, text, machine="light-router"):
    path = tmp_path / "coupon.toml"
    path.write_text(text)
    return run("coupon", "--machine", machine, "--measured", path, "--out", tmp_path / "out")


def without_a_write(done, tmp_path, *words):
    assert done.returncode == 2, done.stderr
    assert "Traceback" not in done.stderr
    for each in words:
        assert each in done.stderr
    assert not (tmp_path / "out").exists() or not any((tmp_path / "out").glob("*.toml"))


def test_the_piece_is_all_there(piece):
    names = {p.name for p in piece.folder.iterdir()}
    assert {"coupon.md", "coupon.svg", "coupon.toml"} <= names
    for name in ("coupon.md", "coupon.toml"):
        assert "SAFETY NOTICE" in (piece.folder / name).read_text()
    assert all("SAFETY NOTICE" in text for text in piece.programs)
    asked = {f"{r.table}.{r.name}" for r in piece.rows}
    assert {"piece.thickness", "lands.A", "lands.AB", "lands.T3", "steps.T3"} <= asked


def test_its_air_program_comes_first_and_every_number_is_told(piece):
    """The list: with what, on what, which number; how dry; in the air; then each tool's file."""
    paper = (piece.folder / "coupon.md").read_text()
    steps = re.findall(r"^\d+\. (.*)$", paper.split("## Measure it")[0], re.MULTILINE)
    at = {name: next(i for i, s in enumerate(steps) if name in s)
          for name in ("**Zero**", "**Dry first**", "coupon-1.ngc", "coupon-2.ngc")}  # fmt: skip
    assert list(at.values()) == sorted(at.values())
    first = steps[at["coupon-1.ngc"]]
    assert first.index("coupon-air.ngc") < first.index("coupon-1.ngc")
    zero, dry = steps[at["**Zero**"]], steps[at["**Dry first**"]]
    for words in ("T1 fitted", "its top at the mark and set Z to 8.00", "edge finder against its left",
                  "Set Y likewise against its front edge"):  # fmt: skip
        assert words in zero
    lower, instead, of = map(
        float, re.search(r"Z set ([\d.]+) .*?: (-?[\d.]+) for ([\d.]+)\.", dry).groups()
    )
    lowest = min(
        float(z) for t in piece.programs for z in re.findall(r"^G0 .*?Z(-?[\d.]+)", t, re.MULTILINE)
    )
    assert of - instead == lower
    assert lowest + lower > piece.height
    air = (piece.folder / "coupon-air.ngc").read_text()
    assert not re.search(r"^(G[123]|S\d|M3)\b", air, re.MULTILINE)
    assert len(re.findall(r"^M0$", air, re.MULTILINE)) >= 4
    heights = [float(z) for z in re.findall(r"^G0 .*?Z(-?[\d.]+)", air, re.MULTILINE)]
    assert min(heights) >= piece.height + 5.0
    assert "The scale of Z" in paper.split("## Not measured")[1]


def test_every_width_asked_for_is_another(piece):
    """Two lines swapped must show: no two lands, no two steps are alike."""
    true = simulated.Machine(
        (0, 0, 0), (0, 0, 0), dict.fromkeys(TOOLS, 0.0), dict.fromkeys(TOOLS, 0.0)
    )
    cuts = [c for t in piece.programs for c in simulated.cuts_of(t, true, random.Random(1))]
    for table, apart in (("lands", 0.15), ("steps", 0.06)):
        sizes = sorted(piece.size(r, cuts, true) for r in piece.rows if r.table == table)
        assert min(b - a for a, b in pairwise(sizes)) > apart


def test_a_true_machine_leaves_what_is_drawn(piece):
    """By closed forms from the program's text alone: each land and step within 3 um."""
    true = simulated.Machine(
        (0, 0, 0), (0, 0, 0), dict.fromkeys(TOOLS, 0.0), dict.fromkeys(TOOLS, 0.0)
    )
    cuts = [c for t in piece.programs for c in simulated.cuts_of(t, true, random.Random(1))]
    drawn = dict(
        re.findall(
            r"^\| `([\w.]+)` \|.*?\| ([\d.]+) \(",
            (piece.folder / "coupon.md").read_text(),
            re.MULTILINE,
        )
    )
    for row in piece.rows:
        assert piece.size(row, cuts, true) == pytest.approx(
            float(drawn[f"{row.table}.{row.name}"]), abs=0.006
        )


@pytest.mark.oracle
def test_a_controller_takes_its_programs(tmp_path, piece):
    """Read by a real controller's interpreter."""
    interpreter.require()
    tools = read_profile("light-router").tools
    for i, text in enumerate(piece.programs):
        (tmp_path / str(i)).mkdir()
        heard = interpreter.ask(text, tools, tmp_path / str(i))
        assert heard.accepted, heard.complaint


def test_the_measured_profile_finds_the_machine(tmp_path, piece, machine, readings, extra):
    done = measured(tmp_path, workshop.coupon_text(readings, extra))
    assert done.returncode == 0, done.stderr
    found = read_profile(str(tmp_path / "out" / "light-router-measured.toml"))
    assert found.measured == "2026-03-21"
    for number in TOOLS:
        tool = found.tool(number)
        assert tool.label == read_profile("light-router").tool(number).diameter
        assert tool.diameter - tool.label == pytest.approx(machine.runout[number], abs=0.025)
        assert tool.z_offset == pytest.approx(machine.z_off[number], abs=0.025)
        assert 0 < tool.diameter_within < 0.03
        assert 0 < tool.z_within < 0.03
    assert found.errors.x.backlash == pytest.approx(machine.backlash[0], abs=0.02)
    assert found.tool(9).nominal is None  # not measured
    shown = run("machines", tmp_path / "out" / "light-router-measured.toml")
    assert shown.returncode == 0, shown.stderr


@pytest.mark.long
def test_programs_of_a_measured_machine_say_so_and_are_proven(tmp_path, readings, extra):
    assert measured(tmp_path, workshop.coupon_text(readings, extra)).returncode == 0
    profile = tmp_path / "out" / "light-router-measured.toml"
    done = run("gcode", STEEL, "--out", tmp_path / "cuts", "--machine", profile)
    assert done.returncode == 0, done.stderr
    for path in (tmp_path / "cuts").glob("*.ngc"):
        head = " ".join(line.strip("()") for line in path.read_text().splitlines()[:60])
        if "air" in path.stem:
            continue
        assert "measured 2026-03-21" in head
        good = [
            float(v)
            for v in re.search(
                r"good to (\S+) mm in width, (\S+) mm in height and (\S+) mm", head
            ).groups()
        ]
        assert all(0.005 <= v <= 0.05 for v in good)
    for name in ("nut-edge-2.ngc", "saddle-edge-1.ngc"):  # with backlash to make up for, and arcs
        proved = run("prove", tmp_path / "cuts" / name, "--job", STEEL, "--machine", profile)
        assert proved.returncode == 0, proved.stderr


ROWS = measures_of(coupon_for(coupon._as_held(read_profile("light-router")), TOOLS))
KEYS = [row.key for row in ROWS]
BELIEVED = {row.key: [round(row.nominal + d, 2) for d in (0.013, -0.008)] for row in ROWS}
"""Readings of a machine that is nearly true."""


def row_beside(key):
    """What was read of the row below, or of the last but one."""
    at = KEYS.index(key)
    return BELIEVED[KEYS[at + 1] if at + 1 < len(KEYS) else KEYS[at - 1]][0]


ANY_KEY = {
    "half the value written, as a radius for a diameter": lambda key, v: v / 2,
    "inches written as mm": lambda key, v: round(v / 25.4, 3),
    "mm written as inches": lambda key, v: v * 25.4,
    "a minus before it": lambda key, v: -v,
    "the decimal point moved": lambda key, v: v / 10,
    "written here": lambda key, v: row_beside(key),
}


def test_readings_that_can_be_right_are_not_questioned():
    assert list(slips.questions(ROWS, BELIEVED, 0.02)) == []


@pytest.mark.parametrize("key", KEYS)
@pytest.mark.parametrize("slip", ANY_KEY)
def test_a_slip_at_any_key_is_questioned_with_what_it_is(key, slip):
    bad = {**BELIEVED, key: [ANY_KEY[slip](key, BELIEVED[key][0])]}
    (asked,) = slips.questions(ROWS, bad, 0.02)
    assert asked.measure.key == key
    assert slip in asked.likely
    if slip == "written here":
        beside = KEYS[KEYS.index(key) + 1] if key != KEYS[-1] else KEYS[-2]
        assert f"the reading of {beside} written here" in asked.likely


@pytest.mark.parametrize(
    ("factor", "slip"),
    [
        (1 / 25.4, "inches written as mm"),
        (10, "the decimal point moved"),
        (0.5, "half the value written, as a radius for a diameter"),
    ],
)
def test_a_slip_of_every_reading_is_one_question(factor, slip):
    def all_times(factor):
        return {key: [round(v * factor, 3) for v in values] for key, values in BELIEVED.items()}

    assert slips.slip_of_all(ROWS, all_times(factor)) == slip
    assert slips.slip_of_all(ROWS, BELIEVED) == ""
    one_right = all_times(factor) | {KEYS[0]: BELIEVED[KEYS[0]]}
    assert slips.slip_of_all(ROWS, one_right) == ""


SLIPS = {
    "half the value written": ("lands", "T3", lambda v: v / 2),
    "a minus before it": ("steps", "T3", lambda v: -v),
    "inches written as mm": ("lands", "T3", lambda v: v / 25.4),
    "mm written as inches": ("lands", "T3", lambda v: v * 25.4),
    "the decimal point moved": ("steps", "T3", lambda v: v * 10),
    "two digits swapped": (
        "lands",
        "B",
        lambda v: float(f"{v:.2f}"[0] + "." + f"{v:.2f}"[3] + f"{v:.2f}"[2]),
    ),
}


@pytest.mark.parametrize("slip", SLIPS)
def test_a_slip_is_questioned_and_nothing_is_written(tmp_path, readings, extra, slip):
    table, name, spoil = SLIPS[slip]
    bad = {t: dict(each) for t, each in readings.items()}
    bad[table][name] = [spoil(v) for v in bad[table][name][:1]]
    if abs(bad[table][name][0] - readings[table][name][0]) < 0.2:
        pytest.skip("these digits read alike swapped")
    done = measured(tmp_path, workshop.coupon_text(bad, extra))
    without_a_write(done, tmp_path, f"{table}.{name}", "not believable", slip)
    assert done.stderr.count("\n") == 1


def test_swapped_lines_are_told(tmp_path, readings, extra):
    bad = {t: dict(each) for t, each in readings.items()}
    bad["lands"]["T3"], bad["lands"]["T4"] = bad["lands"]["T4"], bad["lands"]["T3"]
    done = measured(tmp_path, workshop.coupon_text(bad, extra))
    without_a_write(done, tmp_path, "lines of T3 and T4 swapped")


def test_a_reading_that_was_taken_twice_is_believed(tmp_path, readings, extra):
    odd = {t: dict(each) for t, each in readings.items()}
    odd["steps"]["T3"] = [v + 0.3 for v in odd["steps"]["T3"]]
    without_a_write(measured(tmp_path, workshop.coupon_text(odd, extra)), tmp_path, "steps.T3")
    text = workshop.coupon_text(odd, f'{extra}\ntwice = ["steps.T3"]')
    assert measured(tmp_path, text).returncode == 0


@pytest.mark.parametrize(("key", "off"), [("lands.T3", 40.0), ("steps.T3", -2.6)])
def test_what_no_machine_leaves_is_not_believed_however_often_read(
    tmp_path, readings, extra, key, off
):
    table, name = key.split(".")
    odd = {t: dict(each) for t, each in readings.items()}
    odd[table][name] = [v + off for v in odd[table][name]]
    done = measured(tmp_path, workshop.coupon_text(odd, f'{extra}\ntwice = ["{key}"]'))
    without_a_write(done, tmp_path, key, "further off than any machine", "give or take")
    assert done.stderr.count("\n") == 1  # and no good reading is blamed for it


def test_readings_that_only_together_are_impossible_are_named_not_the_profile(
    tmp_path, readings, extra
):
    odd = {t: dict(each) for t, each in readings.items()}
    odd["piece"]["thickness"] = [v - 1.0 for v in odd["piece"]["thickness"]]
    odd["steps"] = {name: [v + 1.0 for v in values] for name, values in odd["steps"].items()}
    keys = ", ".join(f'"{t}.{k}"' for t in ("piece", "steps") for k in odd[t])
    done = measured(tmp_path, workshop.coupon_text(odd, f"{extra}\ntwice = [{keys}]"))
    without_a_write(done, tmp_path, "twice", "no possible machine", "z_offset", "measure the piece")
    assert "measured.toml:" not in done.stderr


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('measured = "2026-03-21"', "", "measured: is missing"),
        ('measured = "2026-03-21"', 'measured = "yesterday"', "is not a day"),
        ("[lands]", "[lans]", "did you mean 'lands'"),
        ("T3 = ", "T33 = ", "did you mean lands.T3"),
        ('machine = "light router"', 'machine = "old mill"', "another machine"),
        (" mm", "", "has no unit"),
        ("[steps]", "[steps]\nA = 3", "bare number"),
        ('piece_digest = "', 'piece_digest = "x', "another piece"),
    ],
)  # fmt: skip
def test_bad_input_is_a_line(tmp_path, readings, extra, old, new, said):
    text = workshop.coupon_text(readings, extra)
    assert old in text
    if "steps" in old:
        text = text.replace("A = ", "X = ")
    without_a_write(measured(tmp_path, text.replace(old, new, 1)), tmp_path, said)


@pytest.mark.long
def test_hostile_text_does_no_harm(tmp_path, readings):
    for text in (
        "\x00",
        "a" * 5000,
        "[" * 9000,
        'measured = "\x1b[2J"',
        "lands = 3",
        "[lands]\n" + "T3 = []",
    ):
        done = measured(tmp_path, text)
        without_a_write(done, tmp_path)
        assert "\x1b" not in done.stderr


@pytest.mark.long
def test_a_hostile_profile_is_copied_without_harm(tmp_path, piece):
    """A name that would act in TOML, in Markdown or in a program stays a name."""
    name = 'x"]\\n[tools]\\u007f | <b> (G0 Z-9)'
    own = (REPO / "machines" / "light-router.toml").read_text()
    path = tmp_path / "own.toml"
    path.write_text(own.replace('name = "light router"', "name = " + json.dumps(name)))
    out = tmp_path / "piece"
    done = run("coupon", "--machine", path, "--out", out, "--tools", "1,3")
    assert done.returncode == 0, done.stderr
    for program in out.glob("*.ngc"):
        comments = [line for line in program.read_text().splitlines() if line.startswith("(")]
        assert all(line.count("(") == 1 for line in comments)
    head = (out / "coupon.toml").read_text().split("[piece]")[0]
    extra = "\n".join(line for line in head.splitlines() if line and not line.startswith("#"))
    written = workshop.Piece.written(out, str(path))
    true = simulated.Machine((0, 0, 0), (0, 0, 0), {1: 0.0, 3: 0.0}, {1: 0.0, 3: 0.0})
    text = workshop.coupon_text(written.readings(true, random.Random(2)), extra)
    done = measured(tmp_path, text, str(path))
    assert done.returncode == 0, done.stderr
    assert read_profile(str(tmp_path / "out" / "own-measured.toml")).name == json.loads(
        json.dumps(name)
    )


@pytest.mark.parametrize(
    ("args", "code", "said"),
    [
        (["--machine", "template-laser"], 1, "takes no programs"),
        (["--machine", "light-router", "--tools", "1,99"], 2, "no tool 99"),
        (["--machine", "light-router", "--tools", "one"], 2, "no list of tool numbers"),
        (["--machine", "light-router", "--material", "glass"], 2, "--material"),
        (["--machine", "light-router", "--measured", "x.toml", "--tools", "1"], 2, "of no use with"),
        (["--machine", "light-router", "--measured", "x.toml"], 2, "x.toml"),
    ],
)  # fmt: skip
def test_what_can_not_be_done_is_said(tmp_path, args, code, said):
    done = run("coupon", *args, "--out", tmp_path / "out")
    assert done.returncode == code, done.stderr
    assert said in done.stderr
    assert "Traceback" not in done.stderr
    assert done.stdout == ""


def test_the_demo_is_what_the_command_gives(tmp_path):
    """The invented router's readings, and the profile that they gave."""
    demo = REPO / "demo_jobs" / "measured-router"
    done = run(
        "coupon", "--machine", "light-router", "--measured", demo / "coupon.toml", "--out", tmp_path
    )
    assert done.returncode == 0, done.stderr
    found, kept = (
        read_profile(str(folder / "light-router-measured.toml")) for folder in (tmp_path, demo)
    )
    assert found.errors == kept.errors
    assert [(t.diameter, t.z_offset) for t in found.tools] == [
        (t.diameter, t.z_offset) for t in kept.tools
    ]
