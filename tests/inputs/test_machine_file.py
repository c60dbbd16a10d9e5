"""Machine profiles: the shipped ones are good, and every fault is told with its key path."""

import dataclasses
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from blankcam.faults import InputError
from blankcam.inputs import job_file, machine_file, readings_file
from blankcam.inputs.machine import MachineKind
from blankcam.inputs.tool import Shape, Tool
from tests.inputs.test_readings_file import GOOD as READINGS

GOOD = """
name = "small mill"
kind = "mill"
travel = { x = "200 mm", y = "4 in", z = "60 mm" }
feed_max = { x = "800 mm/min", y = "30 in/min", z = "300 mm/min" }
spindle_max = "10000 rpm"
[[tools]]
number = 1
shape = "ball"
diameter = "1 mm"
flute_length = "3 mm"
reach = "4 mm"
shank = "3 mm"
stick_out = "12 mm"
"""


def faults_of(text):
    with pytest.raises(InputError) as caught:
        machine_file.parse_profile(text, "mine.toml")
    return [str(f) for f in caught.value.faults]


def test_good_profile_in_millimetres():
    profile = machine_file.parse_profile(GOOD, "mine.toml")
    assert profile.kind is MachineKind.MILL
    assert profile.travel.y == pytest.approx(101.6)
    assert profile.feed_max.y == pytest.approx(762)  # 30 x 25.4
    assert profile.tools[0].diameter == 1.0
    assert profile.tools[0].flutes == 2


@pytest.mark.parametrize("name", ["bench-mill", "light-router", "template-laser", "hand-bench"])
def test_shipped_profiles_read(name):
    assert machine_file.read_profile(name).name


def test_shipped_profiles_carry_no_two_names():
    assert set(machine_file.shipped()) == {
        "bench-mill",
        "light-router",
        "template-laser",
        "hand-bench",
    }


HOMED = "[controller]\nmachine_coordinates = true\n"
STOPS = HOMED + 'tool_change = "stop"\nstop_allows_zero = true\n'


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (
            'x = "200 mm"',
            'x = "-200 mm"',
            "travel.x: '-200 mm': is -200 mm, not believable here; expected 10 to 3000 mm",
        ),
        ('x = "200 mm"', "x = 200", "travel.x: '200': a bare number is not a length"),
        ('x = "200 mm"', 'x = "200"', "travel.x: '200': has no unit"),
        (
            '"30 in/min"',
            '"30 in"',
            "feed_max.y: '30 in': unit 'in' is not known here; use mm/min or in/min",
        ),
        ('"10000 rpm"', '"10000"', "spindle_max: '10000': has no unit"),
        ('shape = "ball"', 'shape = "bal"', "tools[0].shape: 'bal': is not known; did you mean"),
        ("flute_length", "flute_lenght", "did you mean 'flute_length'?"),
        ('kind = "mill"', 'kind = "lathe"', "kind: 'lathe': is not known"),
        ('reach = "4 mm"', 'reach = "2 mm"', "tools[0].reach: is shorter than flute_length"),
        ("number = 1", "number = true", "tools[0].number: 'True': is not a whole number"),
        ("number = 1", "number = 0", "tools[0].number: '0': is not between 1 and 255"),
        ('diameter = "1 mm"', 'diameter = "1e9 mm"', "tools[0].diameter"),
        ('kind = "mill"\n', "", "kind: is missing"),
        ('y = "4 in", ', "", "travel.y: is missing"),
        ('travel = { x = "200 mm", y = "4 in", z = "60 mm" }\n', "", "travel: is missing"),
        ('"10000 rpm"', '"nan rpm"', "spindle_max: 'nan rpm': not a speed"),
        (
            "spindle_max",
            'spindle_min = "20000 rpm"\nspindle_max',
            "spindle_min: '20000 rpm': is over",
        ),
        (
            "spindle_max",
            'runout = "-1 mm"\nspindle_max',
            "runout: '-1 mm': is -1 mm, not believable here",
        ),
        ('flute_length = "3 mm"', 'flute_length = "0 mm"', "tools[0].flute_length: '0 mm'"),
        ('stick_out = "12 mm"', 'stick_out = "2 mm"', "tools[0].stick_out: is shorter than reach"),
        ("number = 1", "number = 1\nflutes = 0", "tools[0].flutes: '0': is not between 1 and 12"),
        ("number = 1", "number = 300", "tools[0].number: '300': is not between 1 and 255"),
        ('"ball"', '"vee"', "tools[0].angle: is missing"),
        ('"ball"', '"tapered ball"\nangle = "10 deg"', "tools[0].tip_diameter: is missing"),
        ('"ball"', '"ball"\nangle = "10 deg"', "tools[0].angle: means nothing on a ball tool"),
        ('"ball"', '"flat"\ntip_diameter = "1 mm"', "tools[0].tip_diameter: means nothing"),
        (
            '"ball"',
            '"tapered ball"\ntip_diameter = "2 mm"\nangle = "10 deg"',
            "tools[0].tip_diameter: is wider than diameter",
        ),
        # 3 mm of flutes at 5 degrees a side: 2 x 3 tan 5 = 0.52 mm wide
        (
            '"ball"',
            '"vee"\nangle = "10 deg"',
            "tools[0].diameter: is wider than the cone where its flutes end, 0.52 mm",
        ),
        ("[[tools]]", '[holding]\nkind = "glue"\n[[tools]]', "holding.kind: 'glue': is not known"),
        ("[[tools]]", '[holding]\njaw_top = "-4 mm"\n[[tools]]', "holding.jaw_top: '-4 mm'"),
        ("[[tools]]", '[controller]\nunits = "cm"\n[[tools]]', "controller.units: 'cm'"),
        ("[[tools]]", '[controller]\narc_planes = ["G16"]\n[[tools]]', "controller.arc_planes"),
        ("[[tools]]", "[controller]\nline_length = 20\n[[tools]]", "controller.line_length: '20'"),
        ("[[tools]]", '[controller]\npercent = "yes"\n[[tools]]', "controller.percent: 'yes'"),
        ("[[tools]]", '[controller]\ntool_change = "robot"\n[[tools]]', "controller.tool_change"),
        (
            "[[tools]]",
            STOPS.replace("]", "]\nlength_offsets = true", 1)
            + '[safe]\nchange = { x = "9 mm", y = "9 mm" }\n[[tools]]',
            "controller.length_offsets: is of no use",
        ),
        *(
            (
                "[[tools]]",
                f'[controller]\ntool_change = "automatic"\n{lengths}[[tools]]',
                (
                    "controller.tool_change: 'automatic': would cut with each tool at the height set "
                    "for another"
                ),
            )
            for lengths in ("", "length_offsets = false\n")
        ),
        (
            "[[tools]]",
            '[controller]\ntool_change = "stop"\n[[tools]]',
            "controller.tool_change: 'stop': needs a controller that takes jogs and a new zero",
        ),
        (
            "[[tools]]",
            STOPS + "[[tools]]",
            'add change = { x = "..", y = ".." } under [safe]',
        ),
        (
            "[[tools]]",
            '[safe]\nheight = "-2 mm"\n[[tools]]',
            "safe.height: is in machine coordinates",
        ),
        (
            "[[tools]]",
            '[controller]\nmachine_coordinates = true\n[safe]\nheight = "3 mm"\n[[tools]]',
            "safe.height: '3 mm': is outside the travel of Z; it goes from",
        ),
        (
            "[[tools]]",
            HOMED + '[safe]\npark = { x = "1 mm", y = "999 mm" }\n[[tools]]',
            "safe.park.y: '999 mm': is outside the travel of Y",
        ),
    ],
)
def test_one_fault(old, new, said):
    found = faults_of(GOOD.replace(old, new))
    assert any(said in f for f in found), found
    assert all(f.startswith("mine.toml") for f in found)


@pytest.mark.parametrize(
    ("shape", "more", "height", "radius"),
    [
        ("flat", {}, 0.0, 1.5),
        ("ball", {}, 0.3, 0.9),  # ball effective diameter 1.8, D 3 ap 0.3 (Dijet F007)
        ("ball", {}, 2.0, 1.5),
        ("vee", {"angle": 60.0, "tip_diameter": 0.2}, 1.0, 0.1 + 0.57735),
        ("vee", {"angle": 60.0}, 9.0, 1.5),
        ("tapered ball", {"angle": 60.0, "tip_diameter": 2.0}, 0.5, 0.866025),  # cos 30: tangent
        ("tapered ball", {"angle": 60.0, "tip_diameter": 2.0}, 1.0, 0.866025 + 0.5 * 0.57735),
        ("tapered ball", {"angle": 60.0, "tip_diameter": 2.0}, 0.2, 0.6),  # 3-4-5 triangle
    ],
)
def test_the_width_of_a_cutting_end_over_its_tip(shape, more, height, radius):
    usual = {"number": 1, "flute_length": 9.0, "reach": 9.0, "shank": 3.0, "stick_out": 12.0}
    tool = Tool(shape=Shape(shape), diameter=3.0, **(usual | more))
    assert tool.radius_at(height) == pytest.approx(radius, abs=1e-5)


@pytest.mark.property
@given(
    st.sampled_from(list(Shape)),
    st.floats(1.0, 6.0),
    st.floats(0.2, 0.9),
    st.floats(6.0, 120.0),
    st.floats(0.0, 0.999),
)
def test_no_wider_below_the_height_that_a_width_allows(shape, diameter, tip, angle, share):
    tool = Tool(
        number=1, shape=shape, diameter=diameter, flute_length=9.0, reach=9.0, shank=6.0,
        stick_out=12.0, tip_diameter=tip, angle=angle,
    )  # fmt: skip
    wanted = share * tool.radius
    high = tool.height_at(wanted)
    assert 0.0 <= high <= tool.flute_length
    if high > 0.0:
        assert tool.radius_at(high) <= wanted + 1e-9
    if high < tool.flute_length:
        assert tool.radius_at(high + 1e-6) > wanted - 1e-9
    assert tool.height_at(tool.radius) == tool.flute_length


def test_line_numbers():
    (fault,) = faults_of(GOOD.replace('shape = "ball"', 'shape = "cube"'))
    assert fault.startswith("mine.toml:9: tools[0].shape")


def test_two_tools_with_one_number():
    tool = GOOD[GOOD.index("[[tools]]") :]
    (fault,) = faults_of(GOOD + tool)
    assert "tools[1].number" in fault
    assert "tools[0]" in fault


def test_no_tool():
    (fault,) = faults_of(GOOD[: GOOD.index("[[tools]]")])
    assert "tools: has no tool" in fault


@pytest.mark.parametrize("text", ["job", "machine", "readings"])
def test_a_byte_order_mark_is_forgiven_in_every_file(tmp_path, text):
    whole, read = {
        "job": ("[instrument]\nname = 'x'\nkind = 'bass'\n", job_file.load),
        "machine": (GOOD, machine_file.read_profile),
        "readings": (READINGS, lambda path: readings_file.load(path, 3)),
    }[text]
    path = tmp_path / "mine.toml"
    path.write_bytes(b"\xef\xbb\xbf" + whole.encode())
    assert read(str(path))


@pytest.mark.parametrize("key", ["kind", "shape", "units"])
def test_an_empty_text_is_no_choice(key):
    text = re.sub(rf'{key} = "[a-z]+"', f'{key} = ""', GOOD.replace(
        "[[tools]]", '[controller]\nunits = "mm"\n[[tools]]'))  # fmt: skip
    (fault,) = faults_of(text)
    assert f"{key}: '': is not known; use one of" in fault


@pytest.mark.parametrize("shape", ["bull nose", "drill"])
def test_an_unknown_tool_shape_is_refused_by_name(shape):
    text, count = re.subn(r'shape = "[a-z ]+"', f'shape = "{shape}"', GOOD, count=1)
    assert count == 1
    (fault,) = faults_of(text)
    assert re.search(rf"shape: '{shape}': is not known; use one of .*tapered ball", fault)


def test_one_wrong_value_brings_no_faults_that_only_follow_from_it():
    text = GOOD.replace('flute_length = "3 mm"', 'flute_length = "3"').replace("small", "larger")
    assert len(faults_of(text)) == 1
    assert len(faults_of(GOOD.replace('kind = "mill"', 'kind = "millet"'))) == 1
    axes = re.sub(r"travel = .*", "travel = 3", GOOD)
    assert len(faults_of(axes)) == 1


def test_what_contradicts_is_told_beside_what_can_not_be_read():
    text = GOOD.replace("200 mm", "200").replace('"10000 rpm"', '"10000 rpm"\nspindle_min = "2e4"')
    text = text.replace('spindle_min = "2e4"', 'spindle_min = "20000 rpm"')
    text = text.replace('reach = "4 mm"', 'reach = "2 mm"')
    found = faults_of(text)
    assert [f.partition(": ")[2].partition(":")[0] for f in found] == [
        "travel.x", "spindle_min", "tools[0].reach",
    ]  # fmt: skip


def test_every_fault_at_once():
    text = GOOD.replace("200 mm", "-1 mm").replace('"ball"', '"cube"').replace("10000", "x")
    assert len(faults_of(text)) == 3


@pytest.mark.parametrize(
    "text",
    ["", "kind = 3", "= =", "tools = 3\nkind = 'mill'", "[tools]\na = 1", "kind = ['mill']",
     "[controller]\narc_planes = [1]", "[controller]\nline_length = 1e400", "travel = 'x'"],
)  # fmt: skip
def test_hostile_text_never_tracebacks(text):
    assert faults_of(text)


def test_unknown_name_gets_a_hint():
    with pytest.raises(InputError, match="did you mean bench-mill"):
        machine_file.read_profile("bench-mil")
    with pytest.raises(InputError, match="there is no such file; shipped are"):
        machine_file.read_profile("nowhere/mine.toml")


MEASURED = GOOD.replace(
    "[[tools]]",
    """measured = "2026-03-21"
backlash = { x = "0.02 mm", y = "0.01 mm", z = "0 mm" }
scale = { x = "0.03 %", y = "-0.5 mm/m", z = "0 %" }
scale_within = { x = "0.01 %", y = "0.01 %", z = "0.1 %" }
[[tools]]
effective_diameter = "1.013 mm"
effective_within = "0.01 mm"
z_offset = "-0.02 mm\"""",
)


def test_a_machine_as_measured():
    """A share is percent, or millimetres a metre: 0.5 mm/m is 0.05 %."""
    profile = machine_file.parse_profile(MEASURED, "mine.toml")
    (tool,) = profile.tools
    assert (tool.label, tool.diameter, tool.wide) == (1.0, 1.013, pytest.approx(0.013))
    assert (tool.diameter_within, tool.z_offset) == (0.01, -0.02)
    assert tool.shank == 3.0
    assert profile.errors.x.backlash == 0.02
    assert profile.errors.x.scale == pytest.approx(0.0003)
    assert profile.errors.y.scale == pytest.approx(-0.0005)
    assert profile.known
    assert profile.as_sold() == dataclasses.replace(
        machine_file.parse_profile(GOOD, "mine.toml"), path="mine.toml"
    )


def test_a_stated_runout_makes_every_tool_cut_wider():
    text = GOOD.replace("[[tools]]", 'runout = "0.01 mm"\n[[tools]]')
    (tool,) = machine_file.parse_profile(text, "mine.toml").tools
    assert (tool.diameter, tool.label) == (pytest.approx(1.01), 1.0)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("1.013 mm", "1.3 mm", "more than 0.2 mm off diameter 1 mm"),
        ('"0.03 %"', '"3 %"', "not believable here"),
        ('"0.03 %"', "0.0003", "a bare number is not a share"),
        ('x = "0.02 mm"', 'x = "0.9 mm"', "not believable here"),
        ("2026-03-21", "21.3.2026", "measured: '21.3.2026': is not a day"),
        ("-0.02 mm", "-2 mm", "z_offset"),
    ],
)
def test_what_a_measured_machine_can_not_be(old, new, said):
    assert old in MEASURED
    (fault,) = faults_of(MEASURED.replace(old, new))
    assert said in fault
