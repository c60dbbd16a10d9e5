"""Simulated instruments, from first stringing to done: what the refit promises, counted.

The truth is of tests/refit/simulated.py, which shares no code with what is tested. The whole count
is 300 instruments a case, against the promise itself (BLANKCAM_INSTRUMENTS=300, hours). Fewer, as
in both tiers: so many may fail as a chance of one in a thousand still gives at the promised rate
(binomial).
"""

import os
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from tests.conftest import first_then_long
from tests.refit import simulated
from tests.refit.bench_loop import UNDER, live

SEED = 1000
WHOLE = 300
MANY, FEW = int(os.environ.get("BLANKCAM_INSTRUMENTS", "40")), 12
HONEST = ("feeler 0.05, u 0.05", "normal 0.025, u 0.05", "normal 0.05, u 0.10")
UNDERSTATED = "normal 0.05, u 0.05"
WORLDS = {"mill": simulated.MILL, "files": simulated.FILES}
HARDER = {
    "heavy tails": {"tail": 4.0},
    "wrong zero common to a set": {"read_common": 0.02},
    "creep of a week": {"creep": 0.05},
    "one misreading in twenty sets": {"slip": 0.05},
}
TIERS = [
    pytest.param(FEW, id="few"),
    pytest.param(MANY, id="many", marks=pytest.mark.long),
]


def at_least(flags, promised, what):
    """The share of flags that are set is as promised; of few only as far as chance allows."""
    flags = np.array(list(flags))
    failed, count = int(np.sum(~flags)), len(flags)
    print(f"{what}: {count - failed} of {count}, seeds {SEED} to {SEED + count - 1}")
    allowed = (1 - promised) * count
    if count < WHOLE:
        allowed = stats.binom.ppf(0.999, count, 1 - promised)
    assert failed <= allowed + 1e-9, f"{what}: {failed} of {count} fail, seeds from {SEED}"


def lives(world, count):
    return [live(world, SEED + i) for i in range(count)]


@pytest.mark.parametrize("count", TIERS)
@pytest.mark.parametrize("kind", first_then_long(HONEST))
@pytest.mark.parametrize("by", WORLDS)
def test_honest_readings_end_soon_and_harm_nothing(by, kind, count):
    found = lives(simulated.with_reading(WORLDS[by], kind), count)
    at_least((v.rounds is not None and v.rounds <= 2 for v in found), 0.97, "done in two rounds")
    at_least((v.rounds is not None and v.rounds <= 3 for v in found), 0.99, "done in three rounds")
    at_least((v.low >= -UNDER for v in found), 0.99, "no slot too low")
    at_least((not v.false_low for v in found), 0.98, "none falsely called too low")
    at_least((not any(v.asked) for v in found), 0.98, "no needless question")
    at_least((not any(v.told) for v in found), 0.98, "not falsely told to scatter")


@pytest.mark.parametrize("count", TIERS)
@pytest.mark.parametrize(("by", "told"), [("mill", 0.80), ("files", 0.75)])
def test_understated_uncertainty_is_told_by_the_second_round(by, told, count):
    found = lives(simulated.with_reading(WORLDS[by], UNDERSTATED), count)
    at_least((any(v.told[:2]) for v in found), told, "told by the second round")
    at_least((v.low >= -UNDER for v in found), 0.97, "no slot too low")
    at_least((v.rounds is not None and v.rounds <= 3 for v in found), 0.99, "done in three rounds")


@pytest.mark.long
@pytest.mark.parametrize("count", [MANY])
@pytest.mark.parametrize("harder", HARDER)
@pytest.mark.parametrize("by", WORLDS)
def test_a_harder_truth_still_ends_and_harms_little(by, harder, count):
    world = simulated.with_reading(WORLDS[by], "normal 0.025, u 0.05")
    found = lives(replace(world, **HARDER[harder]), count)
    at_least((v.rounds is not None and v.rounds <= 3 for v in found), 0.98, "done in three rounds")
    at_least((v.low >= -UNDER for v in found), 0.97, "no slot too low")
