"""A probing program through ``blankcam prove``: a touch that crashes or a zero set off its place.

G38.2 is RS274/NGC's (NISTIR 6556, 3.5.9); G10 L20 is common to controllers and not in it.
"""

import re

import pytest
from typer.testing import CliRunner

from blankcam.cli import app
from blankcam.inputs.machine_file import shipped
from tests.commands.test_prove_command import prove, written
from tests.conftest import STEEL, first_then_long

PROBE = ((r"(?m)^\[safe\]", '[probe]\ndiameter = "2 mm"\n\n[safe]'),)


def run_command(*words):
    return CliRunner().invoke(app, [str(w) for w in words])


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """The steel-string's programs for the mill with a probe, final."""
    at = tmp_path_factory.mktemp("probe")
    machine = written(at / "mill.toml", shipped()["bench-mill"].read_text(), PROBE)
    made = run_command(
        "gcode", STEEL, "--out", at / "out", "--machine", machine, "--stage", "final"
    )
    assert made.exit_code == 0, made.stderr
    return at / "out"


def proved(folder, name, text=None):
    """What is said of a program as written, or of another text under its name; and the codes."""
    program = folder / name
    if text is not None:
        program = folder.parent / "edited" / name
        program.parent.mkdir(exist_ok=True)
        program.write_text(text)
    code, said = prove(program, STEEL, folder.parent / "mill.toml")
    found = [re.search(r"\[(\w\d\d)\]$", f)[1] for f in said["proof"]["faults"]]
    assert (code, said["proof"]["passed"]) == ((1, False) if found else (0, True))
    return said, set(found)


@pytest.mark.parametrize(
    "name", first_then_long(["saddle-edge", "nut-face", "nut-edge", "saddle-face"], 2)
)
def test_as_written_it_passes(folder, name):
    said, found = proved(folder, f"{name}-probe.ngc")
    assert (found, said["signed"], said["stage"]) == (set(), "as written", "final")


CHANGES = [
    (r"(G10 L20 P1 Z)[\d.]+", r"\g<1>0", {"M25"}),
    (r"(G10 L20 P1 X)-1", r"\g<1>1", {"M25"}),
    (r"G38\.2 (Z-12) F60", r"G0 \1", {"M25"}),
    (r"(G38\.2 Y\S+) F60", r"\1 F600", {"M25"}),
    (r"(?m)^M5\n", "", {"M25"}),
    (r"(?m)^M30\n", "", {"R31"}),
    (r"(set Z to )[\d.]+", r"\g<1>0.00", {"V01"}),
    (r"6 mm over", "9 mm over", {"V01"}),
]


@pytest.mark.parametrize(("old", "new", "codes"), CHANGES)
def test_a_change_that_harms_is_told(folder, old, new, codes):
    text = (folder / "nut-edge-probe.ngc").read_text()
    bad, count = re.subn(old, new, text, count=1)
    assert count == 1
    said, found = proved(folder, "nut-edge-probe.ngc", bad)
    assert (found, said["signed"]) == (codes, "differs from what was written")


def test_under_the_name_of_another_set_up_it_is_told(folder):
    text = (folder / "nut-edge-probe.ngc").read_text()
    _, found = proved(folder, "nut-face-probe.ngc", text)
    assert found == {"V07"}


def test_a_machine_without_a_probe_has_none(folder):
    done = run_command("prove", folder / "nut-edge-probe.ngc", "--job", STEEL, "--machine",
                       "bench-mill")  # fmt: skip
    assert "does not say which program" in str(done.exception)
