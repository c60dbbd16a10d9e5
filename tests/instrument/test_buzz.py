"""The plucked string against a mode sum of the wave equation, and the least action
against itself.
"""

from dataclasses import replace

import numpy as np
import pytest

from blankcam.inputs import job_file
from blankcam.inputs.job import KINDS
from blankcam.instrument import heights as instruments
from blankcam.instrument.buzz import buzz_margins, swing_of, turned_triangle
from blankcam.parts.design import design


def of(kind, text=""):
    return design(job_file.parse(f'[instrument]\nname = "x"\nkind = "{kind}"\n{text}', "j"))


def test_the_turned_triangle_is_the_lowest_the_wave_equation_reaches():
    """A plucked ideal string as a sum of its modes (plucked-string theory, from memory).

    y(x, t) = 2 a / (pi^2 b (1 - b)) sum sin(n pi b) / n^2 sin(n pi x) cos(n pi t), length and speed
    1.
    """
    swing, beta = 1.0, 0.2
    n = np.arange(1, 1500)[:, np.newaxis, np.newaxis]
    x = np.linspace(0.01, 0.99, 50)[np.newaxis, :, np.newaxis]  # from the nut
    t = np.linspace(0.0, 2.0, 101)[np.newaxis, np.newaxis, :]
    at = 1 - beta  # plucked at beta from the bridge
    modes = np.sin(n * np.pi * at) / n**2 * np.sin(n * np.pi * x) * np.cos(n * np.pi * t)
    y = 2 * swing / (np.pi**2 * beta * (1 - beta)) * modes.sum(axis=0)
    assert float(np.max(y)) == pytest.approx(swing, abs=0.02)
    lowest = -y.min(axis=1)
    assert lowest == pytest.approx(turned_triangle(1.0, swing, beta, x[0, :, 0]), abs=0.01)


def test_the_swing_by_the_published_pluck():
    # 650 mm, 12 lb = 53.4 N, pulled 8 mm at a fifth takes 0.92 lb = 4.09 N (R. Jernigan, web)
    assert swing_of(4.09, 650, 53.38, 0.2) == pytest.approx(8.0, abs=0.05)


@pytest.mark.parametrize("kind", KINDS)
def test_typical_strings_keep_off_the_frets(kind):
    for margin in buzz_margins(of(kind).instrument):
        assert margin.least > -0.05


@pytest.mark.parametrize("kind", ["steel-string", "classical", "bass"])
def test_at_the_least_action_the_least_margin_is_nothing(kind):
    found = of(kind)
    board = found.instrument.board
    margins = buzz_margins(found.instrument)
    lowered = []
    for s, m in zip(found.instrument.strings, margins, strict=True):
        # the same nut, the action offered: the lift given, the clearance at fret 1 left open
        path = replace(s, first_fret=None, third_fret=None, action=m.least_action)
        lowered.append(instruments.solve(board, path))
    for m in buzz_margins(replace(found.instrument, strings=tuple(lowered))):
        assert m.least == pytest.approx(0.0, abs=1e-6)


def test_a_higher_relief_or_action_keeps_more():
    base, high = (buzz_margins(of("steel-string", t).instrument)
                  for t in ("", '[saddle]\naction = { bass = "2.8 mm", treble = "2.3 mm" }'))  # fmt: skip
    assert all(h.least > b.least for h, b in zip(high, base, strict=True))
    assert all(len(b.open) == 20 for b in base)
