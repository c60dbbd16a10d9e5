"""What a hand may change in a program, through ``blankcam prove``: each told by its own finding.

The feeds, dwells and orders are RS274/NGC's (NISTIR 6556: 3.4.3 G4 dwell, 3.5.16 feed rates,
Table 8 order of execution); how fast, how long and how strong are the machine's and the table's.
"""

import dataclasses
import json
import re

import pytest
from typer.testing import CliRunner

from blankcam.cli import app
from blankcam.inputs import job_file
from blankcam.inputs.machine_file import shipped
from blankcam.parts.design import design
from blankcam.parts.stage import Stage
from blankcam.workflows.cut_part import write_part
from blankcam.workflows.request import machine_of, request_of
from tests.conftest import STEEL
from tests.faults.operated import OPERATED
from tests.faults.stated import STATED
from tests.faults.workshop import CLAMPED, Case

LONGER = 2 * CLAMPED


def prove(program, job, machine):
    """Exit code and what is said of a program."""
    done = CliRunner().invoke(
        app, ["prove", str(program), "--job", str(job), "--machine", str(machine), "--json"]
    )
    return done.exit_code, json.loads(done.stdout)


@dataclasses.dataclass(frozen=True)
class Bench:
    """A job's and a machine's file, and the programs of the nut on that machine."""

    job: object
    machine: object
    made: Case
    passed: set = dataclasses.field(default_factory=set)
    """The names of programs that pass as they were made."""

    def proved(self, name, text, job=None):
        program = self.job.parent / name
        program.write_bytes(text if isinstance(text, bytes) else text.encode())
        return prove(program, job or self.job, self.machine)

    def assert_passes(self, name):
        """The program as it was made."""
        if name not in self.passed:
            assert self.codes(name, self.made.text(name)) == set()
            self.passed.add(name)

    def codes(self, name, text, job=None):
        code, said = self.proved(name, text, job)
        found = {re.search(r"\[(\w\d\d)\]$", f)[1] for f in said["proof"]["faults"]}
        assert (code, said["proof"]["passed"]) == ((1, False) if found else (0, True))
        return found


@pytest.fixture(scope="module")
def bench_with(tmp_path_factory):
    """A bench by what its files have otherwise than the shipped ones: job, then machine."""
    made = {}

    def bench(on_job=(), on_machine=()):
        key = (on_job, on_machine)
        if key not in made:
            folder = tmp_path_factory.mktemp("bench")
            job = written(folder / "job.toml", STEEL.read_text(), on_job)
            mill = written(folder / "mill.toml", shipped()["bench-mill"].read_text(), on_machine)
            found = design(job_file.load(str(job)))
            profile = machine_of(found.job, str(mill))
            result = write_part(request_of(found, "nut", profile, Stage.FINAL))
            made[key] = Bench(job, mill, Case.of(result))
        return made[key]

    return bench


def written(path, text, changes):
    for old, new in changes:
        text, count = re.subn(old, new, text)
        assert count == 1, old
    path.write_text(text)
    return path


CHANGE = (r"(?m)^(park = .*)$", r'\1\nchange = { x = "150 mm", y = "158 mm" }')
STOPS = (CHANGE, (r'tool_change = "automatic"', 'tool_change = "stop"\nstop_allows_zero = true'),
         (r"length_offsets = true *\n", ""))  # fmt: skip
CLAMPS = ((r"\[holding\]", '[holding]\nface = "clamps"\nclamp_height = "3 mm"'),
          (r'holder_diameter = "[\d.]+ mm"', 'holder_diameter = "12 mm"'))  # fmt: skip
LONG_BLANK = ((r'(nut *= \{ length = )"52 mm"', rf'\1"{52 + LONGER:g} mm"'),)
GLUE = ((), ())
SEEN = [
    ("every_start_at_s500", "M14", "edge", GLUE),
    ("every_feed_at_f700", "M14", "edge", GLUE),
    ("a_preamble_of_units_alone", "R24", "edge", GLUE),
    ("dwells_removed", "M16", "edge", GLUE),
    ("spindle_stopped_and_started_in_the_cut", "M18", "edge", GLUE),
    ("a_long_dwell_in_the_cut", "M18", "edge", GLUE),
    ("a_stop_in_the_cut", "M17", "edge", GLUE),
    ("a_tool_change_in_the_cut", "M17", "edge", GLUE),
    ("a_tab_cut_through", "H01", "face", GLUE),
    ("a_tab_cut_through", "H01", "face", (LONG_BLANK, CLAMPS)),
    ("waste_sawn_through_beside_both_clamps", "H01", "face", (LONG_BLANK, CLAMPS)),
    ("z_is_touched_a_millimetre_off", "V01", "edge", GLUE),
    ("the_jaws_are_a_millimetre_higher", "V02", "edge", GLUE),
    ("another_tool_at_a_stop", "V04", "edge", ((), STOPS)),
    ("a_slanted_plunge", "M05", "edge", GLUE),
    ("a_slanted_plunge", "M05", "face", GLUE),
    ("a_steep_arc_at_full_feed", "M05", "edge", GLUE),
]
QUICK = {"the_jaws_are_a_millimetre_higher"}


def damaged(made, name, fault):
    if fault in OPERATED:
        return "\n".join(OPERATED[fault][0](made.text(name).split("\n"), made))
    return STATED[fault][0](made.text(name))


@pytest.mark.parametrize(("fault", "code", "setup", "files"), [
    pytest.param(*row, marks=() if row[0] in QUICK else pytest.mark.long,
                 id=f"{row[0]}-{row[2]}{'-clamps' * bool(row[3][0])}")
    for row in SEEN
])  # fmt: skip
def test_a_change_by_hand_is_told(fault, code, setup, files, bench_with):
    bench = bench_with(*files)
    name = f"nut-{setup}.ngc"
    bench.assert_passes(name)
    bad = damaged(bench.made, name, fault)
    assert bad not in (None, bench.made.text(name))
    assert code in bench.codes(name, bad)


@pytest.mark.long
def test_an_old_program_for_a_blank_that_is_shorter_now(bench_with):
    """6 mm off the blank, so that its left end, where X is set, is 3 mm nearer to the part."""
    bench = bench_with()
    shorter = written(
        bench.job.parent / "shorter.toml", STEEL.read_text(),
        ((r'(nut *= \{ length = )"52 mm"', r'\1"46 mm"'),),
    )  # fmt: skip
    found = bench.codes("nut-face.ngc", bench.made.text("nut-face.ngc"), shorter)
    assert {"V01", "V03"} <= found


HARMLESS = {
    "a comment after the end": lambda t: t + "(all done)\n",
    "a semicolon's comment": lambda t: t.replace("G54\n", "G54 ; the first offset\n", 1),
    "a byte-order mark": lambda t: "\ufeff" + t,
    "a code said again": lambda t: t.replace("G54\n", "G54\nG90 G94\n", 1),
    "lines that end as elsewhere": lambda t: t.replace("\n", "\r\n"),
    "blanks after a line of 79 characters": lambda t: t.replace(
        "G54\n", "G54" + "(set as the header says)".rjust(76) + "   \n", 1
    ),
}


@pytest.mark.parametrize("form", [
    pytest.param(form, marks=pytest.mark.long if at else ()) for at, form in enumerate(HARMLESS)
])  # fmt: skip
def test_a_harmless_form_passes_and_proves_the_same(form, bench_with):
    bench = bench_with()
    text = bench.made.text("nut-edge.ngc")
    other = HARMLESS[form](text)
    assert other != text
    (code, said), (_, same) = (bench.proved("nut-edge.ngc", t) for t in (other, text))
    assert (code, said["proof"]) == (0, same["proof"])
