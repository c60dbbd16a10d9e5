"""A maker who does what the refit says, on a simulated instrument."""

from dataclasses import dataclass, field

import numpy as np

from blankcam.refit.cut_choice import Crossings
from blankcam.refit.history import DesignedInstrument, Fret, Reading
from blankcam.refit.questions import Known
from blankcam.refit.scatter import belief
from blankcam.refit.spreads import cutting_by
from blankcam.refit.verdict import Aims, choose_from, judge_reading
from tests.refit import simulated

MOST_ROUNDS = 8
SETTLED = Known()
UNDER = 0.05  # mm under a target that does harm


def designed_instrument(by):
    return DesignedInstrument(
        first=Fret(name="first_fret", share=simulated.T1, promised=simulated.TARGET_1),
        twelfth=Fret(name="action", share=simulated.T12, promised=simulated.TARGET_12),
        places=simulated.SPREAD,
        hold_back=np.full(simulated.STRINGS, simulated.HOLD_BACK),
        allowance=simulated.ALLOWANCE,
        cutting=cutting_by([by] * simulated.STRINGS, by),
    )


@dataclass
class Life:
    """What became of one instrument."""

    rounds: int | None = None
    """Refits that cut, until done; None: not done after many."""
    low: float = np.inf
    """The least true clearance over fret 1 against its target, at any time after a cut."""
    false_low: bool = False
    """Told too low a part that is not."""
    told: list = field(default_factory=list)
    """Of every reading: whether the scatter was said to be understated."""
    asked: list = field(default_factory=list)
    """Of every reading: None, or the causes weighed."""
    slip_at: int | None = None
    slipped: tuple | None = None
    over: np.ndarray | None = None


def live(world, seed, slip=None, slip_at=0, known=SETTLED):
    """String, read, refit, cut, until done.

    ``slip`` happens at reading ``slip_at``. A question is answered by reading again: a slip of the
    pen is then found and mended, anything else is confirmed.
    """
    inst = simulated.Instrument(world, np.random.default_rng(seed))
    designed, events, life = designed_instrument(world.by), [], Life()
    aims = Aims(
        first_fret=simulated.TARGET_1,
        action=simulated.TARGET_12,
        cutting=designed.cutting,
        saddle=Crossings(centres=simulated.CENTRES, length=simulated.SADDLE_LENGTH),
    )
    for k in range(MOST_ROUNDS + 1):
        if slip in simulated.Slip.on_parts and k == slip_at:
            life.slip_at = k
            simulated.Slip.parts(slip, inst)
        read = inst.read()
        if slip and slip not in simulated.Slip.on_parts and k == slip_at:
            life.slip_at = k
            read, life.slipped = simulated.Slip.readings(slip, inst.right, inst.rng)
        judged = _judged(designed, events, read, world, known, confirmed=False)
        life.asked.append(judged.weighed if judged.asked else None)
        if judged.asked:
            judged = _judged(designed, events, inst.right, world, known, confirmed=True)
        events.append(judged.reading)
        now = belief(designed, events)
        life.told.append(now.understated)
        choice = choose_from(now, aims, world.stated)
        over = inst.over()
        life.false_low |= bool(
            np.any(choice.first_low & (over[0] > -UNDER))
            or np.any(choice.twelfth_low & (over[1] > -UNDER))
        )
        if choice.nothing:
            life.rounds = k
            break
        inst.cut(choice.nut, choice.saddle, choice.trim)
        events.append(choice.cut(designed.cutting))
        inst.string_again()
        life.low = min(life.low, inst.lowest())
    life.over = inst.over()
    return life


def _judged(designed, events, read, world, known, *, confirmed):
    reading = Reading(first_fret=read[0], action=read[1], uncertainty=world.stated)
    return judge_reading(designed, events, reading, known, confirmed=confirmed)


def share(flags):
    return float(np.mean(list(flags)))
