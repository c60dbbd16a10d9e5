"""Machine profiles whose numbers are far off: made, refused or told, in bounded time and memory."""

import os
import random
import re
import resource
import signal
import subprocess
import time

import pytest

from blankcam.faults import BlankcamError
from blankcam.inputs import job_file
from blankcam.inputs.machine_file import parse_profile
from blankcam.parts.stage import Stage
from blankcam.workflows import make
from tests.conftest import REPO, STEEL, first_then_long
from tests.installed import COMMAND, run

SEED = int(os.environ.get("BLANKCAM_HOSTILE_SEED", str(time.time_ns() % 1_000_000)))
ROUNDS = int(os.environ.get("BLANKCAM_HOSTILE_MACHINES", "12"))
SECONDS, MEMORY = 120, 3 << 30  # of the processor and of address space: a wide bound, not a timing
NUMBER = re.compile(r'(?<![\w.])\d+(?:\.\d+)?(?=[ "])')
OUTCOMES = {0: "made", 1: "refused", 2: "told"}


def spoiled(text, chance):
    """One to three of a profile's numbers made far larger or smaller."""
    for _ in range(chance.randint(1, 3)):
        at = chance.choice(list(NUMBER.finditer(text)))
        value = float(at[0]) * 10.0 ** chance.choice((-6, -4, -2, -1, 1, 2, 4, 6))
        text = f"{text[: at.start()]}{value:.10f}".rstrip("0").rstrip(".") + text[at.end() :]
    return text


def outcome(text, job):
    """What comes of a profile, in a process of its own with bounds of time and memory."""
    child = os.fork()
    if child:
        return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    code = 3
    try:
        signal.signal(signal.SIGXCPU, signal.SIG_DFL)
        resource.setrlimit(resource.RLIMIT_CPU, (SECONDS, SECONDS))
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
        try:
            profile = parse_profile(text, "m.toml")
        except BlankcamError as told:
            code = 2 if all(str(f).isprintable() for f in told.faults) else 3
        else:
            try:
                make.build(job, profile, Stage.ROUGH)
                code = 0
            except BlankcamError:
                code = 1
    finally:
        os._exit(code)


@pytest.mark.long
def test_numbers_far_off_are_made_refused_or_told_in_bounded_time_and_memory():
    chance, job = random.Random(SEED), job_file.load(str(STEEL))
    machines = [p.read_text(encoding="utf-8") for p in sorted((REPO / "machines").glob("*.toml"))]
    machines = [text for text in machines if len(NUMBER.findall(text)) > 9]  # a bench has none
    seen = dict.fromkeys(OUTCOMES.values(), 0)
    accepted = 0
    while accepted < ROUNDS:  # most are told by the profile's reader: those cost nothing
        text = spoiled(chance.choice(machines), chance)
        code = outcome(text, job)
        assert code in OUTCOMES, f"BLANKCAM_HOSTILE_SEED={SEED}: {code}\n{text}"
        seen[OUTCOMES[code]] += 1
        accepted += code != 2
    print(f"\nseed {SEED}: {seen}")
    assert seen["told"] > 0


LARGE, LONG = 20_000_000, 30_000
"""Bytes and lines of the largest program that is read."""


@pytest.fixture(scope="module")
def program(tmp_path_factory):
    """A proven program's text, cut in two after its first cutting move."""
    out = tmp_path_factory.mktemp("made") / "cuts"
    done = run("gcode", STEEL, "--out", out, "--machine", "bench-mill")
    assert done.returncode == 0, done.stderr
    text = (out / "nut-edge.ngc").read_text(encoding="ascii")
    cut = text.index("\n", re.search(r"^G1 .*F", text, re.MULTILINE).end()) + 1
    return text[:cut], text[cut:]


@pytest.mark.long
@pytest.mark.parametrize(
    "lines",
    [
        ["G1 X1 Z7\n", "G1 X40\n"],
        ["(", "x" * 70, ")\n"],
        ["G2 X10 I4 K-30\n", "G3 X0 I-4 K-30\n"],
        ["G4 P1\n", "M5\n", "M3\n"],
        ["G1 X1 (no end of the line) "],
    ],
    ids=["to and fro", "comments", "arcs", "dwells", "one line"],
)
def test_the_largest_program_is_told_in_bounded_time_and_memory(lines, program, tmp_path):
    """As large as the largest that is read, of lines that only a replay can judge."""
    before, after = program
    lines = "".join(lines)
    times = (LARGE - len(before) - len(after)) // len(lines)
    if "\n" in lines:
        times = min(times, (LONG - 1000) // lines.count("\n"))
    large = tmp_path / "nut-edge.ngc"
    large.write_text(before + lines * times + after, encoding="ascii")
    done = bounded("prove", large, "--job", STEEL)
    harmless = lines.startswith("(")  # so many comments cost time only
    assert done.returncode == (0 if harmless else 1), done.stderr[-500:]
    assert "fault of the program itself" not in done.stderr
    assert len(done.stderr.splitlines()) <= 60


@pytest.mark.parametrize(("lines", "words"), first_then_long([
    (["G0 X1\n"] * 30_001, "30,000 lines"), (["x" * 20_000_001], "20 MB"),
    (["\r"] * 30_001, "30,000 lines"),
]))  # fmt: skip
def test_a_program_that_is_larger_still_is_not_read(lines, words, tmp_path):
    (tmp_path / "large.ngc").write_text("".join(lines), encoding="ascii")
    done = bounded("prove", tmp_path / "large.ngc", "--job", STEEL)
    assert done.returncode == 2
    assert words in done.stderr
    assert len(done.stderr.splitlines()) == 1


def bounded(*words):
    """A command with bounds of processor time and address space."""

    def bounds():
        resource.setrlimit(resource.RLIMIT_CPU, (3 * SECONDS, 3 * SECONDS))
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))

    done = subprocess.run(
        [COMMAND, *map(str, words)], capture_output=True, text=True, timeout=900,
        preexec_fn=bounds, check=False,
    )  # fmt: skip
    assert "Traceback" not in done.stderr
    return done
