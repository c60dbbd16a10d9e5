"""Frequencies against equal temperament on ISO 16's A4 = 440 Hz, values worked outside the code."""

import pytest

from blankcam.instrument.pitch import cents, hertz, semitone

# 440 * 2^(n/12), four decimals, printed in any table of equal temperament.
TABLE = {
    "A4": 440.0,
    "E2": 82.4069,
    "A2": 110.0,
    "D3": 146.8324,
    "G3": 195.9977,
    "B3": 246.9417,
    "E4": 329.6276,
    "C4": 261.6256,
    "G4": 391.9954,
    "D4": 293.6648,
    "A3": 220.0,
    "E5": 659.2551,
    "E1": 41.2034,
    "D2": 73.4162,
    "G2": 97.9989,
}


@pytest.mark.parametrize(("note", "frequency"), TABLE.items())
def test_equal_temperament(note, frequency):
    assert hertz(note) == pytest.approx(frequency, abs=5e-5)


@pytest.mark.parametrize(
    ("one", "other"), [("F#3", "Gb3"), ("Bb1", "A#1"), ("bb3", "B♭3"), ("B#3", "C4"), ("Cb4", "B3")]
)
def test_the_two_names_of_a_black_key(one, other):
    assert semitone(one) == semitone(other)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "H2",
        "E",
        "E-1",
        "E10",
        "E2 ",
        " E2",
        "E##2",
        "E9",
        "E２",
        "E2\n",
        "2E",
        "E2E2",
        "\x00",
    ],
)
def test_anything_else_is_no_note(text):
    with pytest.raises(ValueError):
        hertz(text)


def test_an_octave_is_1200_cents_and_small_steps_follow_the_published_factor():
    assert cents(2.0) == pytest.approx(1200.0)
    # [AB] cents_def: 1731.234 df/f
    assert cents(1 + 1e-7) == pytest.approx(1731.234e-7, rel=1e-4)
