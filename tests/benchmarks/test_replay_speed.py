"""Timings of the reader and the replay; they never pass or fail."""

import math

import numpy as np
import pytest

from blankcam.parts.frames import Box
from blankcam.replay.heightmap import Heightmap
from blankcam.replay.reader import read_program
from blankcam.replay.sweep import replay_moves
from tests.replay.bench import MILL, TOOLS

pytestmark = pytest.mark.benchmark


def crown(passes=40, per=500):
    """20,000 short straight moves of the 3 mm ball over a crown 80 mm long and 3 mm wide."""
    out = ["G21 G17 G90 G94 G40", "G49", "G54", "T3", "S8000 M3", "G0 Z20"]
    for y in np.linspace(0, 3, passes):
        x = np.linspace(-2, 82, per + 1)
        z = 10 - 300 + np.sqrt(300**2 - (x - 40) ** 2) + 0.05 * np.sin(x / 3)
        z -= 3 - math.sqrt(9 - (y - 1.5) ** 2)
        out += [f"G0 X{x[0]:.4f} Y{y:.4f}", f"G1 Z{z[0]:.4f} F100"]
        out += [f"G1 X{a:.4f} Z{b:.4f}" for a, b in zip(x[1:], z[1:], strict=True)]
        out.append("G0 Z20")
    return "\n".join([*out, "M5", "M30", ""])


def one_arc():
    """One 45 mm pass of the 3 mm ball along a top of radius 300 mm."""
    z = 9 - 300 + math.sqrt(300**2 - 22.5**2)
    return (
        "G21 G17 G90 G94 G40\nG49\nG54\nT3\nS8000 M3\nG0 Z20\nG0 X0 Y1.5\n"
        f"G1 Z{z:.4f} F100\nG18 G3 X45 Z{z:.4f} I22.5 K{-291 - z:.4f}\nG17\nG0 Z20\nM5\nM30\n"
    )


def test_reading_twenty_thousand_lines(benchmark):
    text = crown()
    got = benchmark.pedantic(read_program, (text, MILL), rounds=3)
    assert got.findings == ()


@pytest.mark.parametrize(
    ("text", "length"), [(crown(), 80.0), (one_arc(), 45.0)], ids=["crown", "one arc"]
)
def test_replay(benchmark, text, length):
    moves = read_program(text, MILL).moves
    tools = {t.number: t for t in TOOLS}

    def fresh():
        stock = Box(x0=-1, x1=length + 1, y0=0, y1=3, z0=0, z1=10.5)
        return (Heightmap.of(stock, 0.02, 0.02), moves, tools, MILL), {}

    swept = benchmark.pedantic(replay_moves, setup=fresh, rounds=3)
    assert swept.depth.max() > 0
