"""Machine profiles whose numbers are far off: made, refused or told, in bounded time and memory."""

import os
import random
import re
import resource
import signal
import time

import pytest

from blankcam.faults import BlankcamError
from blankcam.inputs import job_file
from blankcam.inputs.machine_file import parse_profile
from blankcam.parts.stage import Stage
from blankcam.workflows import make
from tests.conftest import REPO, STEEL

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
