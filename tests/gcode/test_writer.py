"""Programs as text: the common subset of RS274/NGC, and what each ability of a machine adds.

Rules from NISTIR 6556 (Kramer, Proctor, Messina 2000) section 3, and the plainest streaming
controller's published limits: 79 characters a line, no %, no G43, G64, M6 or M7.
"""

import dataclasses
import math
import re

from blankcam import digest
from blankcam.gcode import writer
from blankcam.gcode.comments import clean
from blankcam.inputs.machine import (
    Controller,
    Holding,
    MachineKind,
    PlanPosition,
    Profile,
    Safe,
    ToolChange,
)
from blankcam.inputs.tool import Shape, Tool
from blankcam.machining import feeds
from blankcam.parts.frames import Box, ReferenceSurface, Zero
from blankcam.toolpath.linearize import without_arcs
from blankcam.toolpath.moves import ArcMove, LineMove, Operation, Program, Rapid

NAN = math.nan
TOOLS = tuple(
    Tool(
        number=n,
        shape=Shape.BALL,
        diameter=d,
        flute_length=3 * d,
        reach=3 * d,
        shank=3.0,
        stick_out=12.0,
    )
    for n, d in ((1, 3.0), (2, 1.0))
)
PROFILE = Profile(name="mill", kind=MachineKind.MILL, tools=TOOLS)
MOVES = (
    Rapid((1.0, 2.0, 15.0)),
    Rapid((1.0, 2.0, 3.0)),
    LineMove((11.0, 2.0, 3.0), 123.4),
    ArcMove((12.0, 3.0, 3.0), (11.0, 3.0), "G17", clockwise=False, feed=123.4),
    ArcMove((14.0, 3.0, 3.0), (4.0, 13.0), "G18", clockwise=True, feed=100.0),
    ArcMove((14.0, 5.0, 5.0), (5.0, 3.0), "G19", clockwise=True, feed=100.0),
    Rapid((14.0, 5.0, 15.0)),
)


def program(moves=MOVES):
    cuts = [feeds.plan_cut(feeds.material("bone"), t, PROFILE, feeds.Work.SLOT) for t in TOOLS]
    return Program(
        stem="nut-edge",
        part="nut",
        setup="edge",
        stage="rough",
        material="bone",
        stock=Box(x0=0, x1=20, y0=0, y1=6, z0=0, z1=10),
        holding=Holding(jaw_top=4.0),
        zeros=(Zero(axis="X", surface=ReferenceSurface.LEFT_END),),
        clearance=15.0,
        operations=tuple(
            Operation(name="top", words="a test", tool=t, cut=c, moves=tuple(moves))
            for t, c in zip(TOOLS, cuts, strict=True)
        ),
    )


def written(job="A job", moves=MOVES, safe=PROFILE.safe, **abilities):
    controller = Controller(**abilities)
    shaped = program(moves)
    operations = tuple(without_arcs(o, controller.arc_planes) for o in shaped.operations)
    shaped = dataclasses.replace(shaped, operations=operations)
    return writer.write(
        shaped, dataclasses.replace(PROFILE, controller=controller, safe=safe), job, "ab" * 8
    )


def bare(text):
    """The lines a machine acts on."""
    return [s for line in text.splitlines() if (s := re.sub(r"\(.*\)|;.*", "", line).strip())]


def test_common_subset():
    text = written().text
    assert text.isascii()
    assert max(map(len, text.splitlines())) <= 79
    lines = bare(text)
    assert lines[:3] == ["G21 G17 G90 G94 G40", "G49", "G54"]
    assert lines[-3:] == ["M5", "M9", "M30"]
    words = {w for line in lines for w in re.findall(r"[GMT]\d+", line)}
    assert words <= {
        "G0", "G1", "G2", "G3", "G17", "G18", "G4", "G21", "G40", "G49", "G54", "G90", "G94",
        "M0", "M3", "M5", "M9", "M30", "T1", "T2",
    }  # fmt: skip
    assert "%" not in text


def test_every_word_once_a_line_and_no_exponent():
    for line in bare(written().text):
        letters = [w for w in re.findall(r"[A-Z]", line) if w != "G"]
        assert len(letters) == len(set(letters)), line
        assert re.fullmatch(r"(?:[A-Z]-?\d+(?:\.\d+)?\s?)+", line), line


def test_feed_stands_on_the_first_cut_after_each_tool():
    lines = bare(written().text)
    cuts = [s for s in lines if re.match(r"G[123] ", s)]
    assert "F123.4" in cuts[0]
    second = next(i for i, s in enumerate(lines) if s == "M0")
    first_cut = next(s for s in lines[second:] if re.match(r"G[123] ", s))
    assert "F" in first_cut


def test_spindle_is_off_and_the_tool_up_at_a_change():
    lines = bare(written(tool_change=ToolChange.STOP).text)
    stop = len(lines) - 1 - lines[::-1].index("M0")
    assert lines[stop - 5 : stop] == ["G0 Z15", "G17", "M5", "M9", "T2"]
    assert lines[stop + 1 : stop + 5] == [
        "G0 Z15",
        f"S{int(program().operations[1].cut.rpm)} M3",
        "G4 P3.0",  # the spindle comes up to speed: seconds, NISTIR 6556 3.5.4
        "G0 X1 Y2",
    ]


def test_with_coordinates_of_its_own_a_machine_goes_up_across_and_down():
    """Up to the profile's safe height first, over the start, then down; parked at the end."""
    places = Safe(height=-3.0, park=PlanPosition(x=90.0, y=95.0), change=PlanPosition(x=5.0, y=6.0))
    lines = bare(written(safe=places, machine_coordinates=True, tool_change=ToolChange.STOP).text)
    assert lines[3:5] == ["G53 G0 Z-3", "T1"]
    begun = lines.index("G0 X1 Y2")
    assert lines[begun - 1] == "G4 P3.0"
    assert lines[begun + 1] == "G0 Z15"
    stop = lines.index("M0")
    assert lines[stop - 6 : stop + 2] == [
        "G53 G0 Z-3", "G17", "M5", "M9", "G53 G0 X5 Y6", "T2", "M0", "G53 G0 Z-3",
    ]  # fmt: skip
    assert lines[-6:] == ["G53 G0 Z-3", "G17", "M5", "M9", "G53 G0 X90 Y95", "M30"]


def test_a_change_says_step_by_step_what_to_do():
    text = written(tool_change=ToolChange.STOP).text
    said = text[text.index("(change 1") : text.rindex("M0\n")]
    for words in ("stop the spindle", "fit tool 2", "stick-out 12 mm", "raise it clear"):
        assert words in said.replace(")\n(", " "), words
    head = text[: text.index("G21")].replace(")\n(", " ")
    assert "step 2 fit tool 1" in head


def test_a_program_in_inches_says_nothing_in_millimetres():
    """25.4 mm is an inch, exactly (international yard and pound agreement, 1959)."""
    text = written(units="inch").text
    assert not re.search(r"\bmm\b", text)
    assert "stick-out 0.4724 in" in text.replace(")\n(", " ")
    assert "x 0.0000 in to 0.7874 in" in text.replace(")\n(", " ")


def test_a_name_is_no_length():
    inch = Controller(units="inch")
    for words in (
        "job: 5 mm nut",
        "place 1 at X0.14862 in Y0.00000 in Z0.00000 in: 5 mm, job digest 0",
    ):
        assert writer._in_units(inch, words) == words
    assert (
        writer._in_units(inch, "stock: x 25.4 mm to 50.8 mm") == "stock: x 1.0000 in to 2.0000 in"
    )


def test_printed_arcs_keep_their_radii():
    # NISTIR 6556 3.5.3.2: start and end radius within 0.002 mm, from the printed text
    moves = [Rapid((0.0, 0.0, 5.0)), LineMove((0.0, 0.0, 0.0), 100.0)]
    for i in range(1, 40):
        angle = i * 0.1237
        radius = 7.77777 * i
        centre = (
            moves[-1].to[0] - radius * math.cos(angle),
            moves[-1].to[1] - radius * math.sin(angle),
        )
        end = angle + 0.01 + 0.03 * (i % 5)
        to = (centre[0] + radius * math.cos(end), centre[1] + radius * math.sin(end), 0.0)
        moves.append(ArcMove(to, centre, "G17", clockwise=False, feed=100.0))
    x = y = 0.0
    seen = 0
    for line in bare(written(moves=moves).text):
        word = {k: float(v) for k, v in re.findall(r"([XYIJ])(-?[\d.]+)", line)}
        if line.startswith("G3"):
            seen += 1
            cx, cy = x + word["I"], y + word["J"]
            assert (
                abs(math.dist((x, y), (cx, cy)) - math.dist((word["X"], word["Y"]), (cx, cy)))
                < 0.002
            )
        if line[:2] in ("G0", "G1", "G3"):
            x, y = word.get("X", x), word.get("Y", y)
    assert seen == 2 * 39


def test_an_arc_that_shrinks_to_nothing_is_no_full_circle():
    moves = (
        Rapid((0.0, 0.0, 5.0)),
        LineMove((0.0, 0.0, 0.0), 100.0),
        ArcMove((0.00001, 0.00001, 0.0), (0.0, 5.0), "G17", clockwise=False, feed=100.0),
    )
    assert not [s for s in bare(written(moves=moves).text) if s.startswith(("G2 ", "G3 "))]


def test_hostile_words_are_harmless():
    text = written(job="x) G0 Z-50 (\n%;$H ! ~ ? \x18 MSG,ü").text
    assert re.search(r"^\(job x G0 Z-50 H MSG, ?\)$", text, re.MULTILINE)
    assert not set("%;$!~?\x18") & set(text)
    for line in text.splitlines():
        assert line.count("(") == line.count(")") <= 1
    assert clean("MSG, hello") == "- MSG, hello"


def test_digests():
    text = written().text
    moves = re.search(r"\(moves digest ([0-9a-f]{16})\)", text)
    assert moves
    assert moves[1] == digest.of_program(text)
    assert f"(job digest {'ab' * 8})" in text
    assert digest.of_program(text.replace("G1 X11", "G1 X12")) != moves[1]
    assert digest.of_program(text.lower().replace(" ", "")) == moves[1]


def test_abilities():
    text = written(
        tool_change=ToolChange.AUTOMATIC, length_offsets=True, path_blending=True,
        coolant="mist", percent=True, line_numbers=True, comments="semicolon", units="inch",
    ).text  # fmt: skip
    lines = text.splitlines()
    assert lines[0] == lines[-1] == "%"
    for word in ("T1 M6", "G43 H1", "G64 P0.00008", "M7", "G20 G17", "X0.03937"):
        assert word in text, word
    assert "(" not in text
    assert "G21" not in text
    # Without coordinates of its own the machine stops once, before its first move
    assert re.findall(r"N\d+ M0$", text, re.MULTILINE) == ["N50 M0"]


def test_lines_of_a_short_controller_carry_the_same_words():
    """A feed on a line of its own, no spaces, no number where none fits; arcs too long: chords."""
    far = [
        dataclasses.replace(m, to=tuple(c - 123.4567 for c in m.to))
        if isinstance(m, LineMove)
        else m
        for m in MOVES
    ]
    for units in ("mm", "inch"):
        short, long = (
            written(moves=far, line_length=n, line_numbers=True, units=units).text
            for n in (40, 200)
        )
        assert max(map(len, short.splitlines())) <= 40
        ends = [
            [
                (k, v)
                for line in bare(text)
                if not re.search(r"G[23]", line)
                for k, v in re.findall(r"([XYZ])(-?[\d.]+)", line)
            ]
            for text in (short, long)
        ]
        assert set(ends[1]) <= set(ends[0])
