"""Simulated instruments for the bench loop: the truth, the maker's readings, the maker's cuts.

Nothing here is shared with blankcam.refit: heights at nut and saddle, frets with their own errors,
a neck that moves, cuts that miss, readings that are off. All spreads are invented; they are not the
ones that the refit believes in.
"""

from dataclasses import dataclass, field, replace

import numpy as np

STRINGS = 6
TARGET_1 = np.linspace(0.55, 0.40, STRINGS)
TARGET_12 = np.linspace(2.3, 1.8, STRINGS)
CENTRES = np.linspace(10.0, 64.0, STRINGS)
SADDLE_LENGTH = 74.0
SPREAD = np.linspace(-1, 1, STRINGS)
HOLD_BACK, ALLOWANCE = 0.2, 0.5
_LENGTHS = 650 + np.linspace(4, 1.6, STRINGS)
T1 = 650 * (1 - 2 ** (-1 / 12)) / _LENGTHS
T12 = 325 / _LENGTHS


@dataclass(frozen=True)
class World:
    """How far off everything is, mm."""

    by: str = "mill"
    neck_mean: float = 0.2
    neck: float = 0.3
    neck_slope: float = 0.06
    seat: float = 0.04
    seat_slope: float = 0.02
    slot: float = 0.015
    fret: float = 0.015
    saddle_made: float = 0.02
    restring: float = 0.03
    restring_slope: float = 0.01
    creep: float = 0.02
    """At the saddle, upward, mean and sd: what the first day at pitch leaves to come; half of it
    comes at each further stringing."""
    cut: float = 0.010
    cut_common: float = 0.007
    cut_bias: float = 0.0
    """Every slot's cut too deep by."""
    saddle_cut: float = 0.012
    read_sd: float = 0.025
    read_step: float = 0.0
    """Feelers: the reading is the nearest step."""
    tail: float = 0.0
    """Degrees of freedom of a t distribution in place of the normal; 0: normal."""
    read_common: float = 0.0
    """A wrong zero of a whole set of readings: sd."""
    slip: float = 0.0
    """Chance that one reading of a set is wrong by 0.3 to 1."""
    stated: float = 0.05


MILL = World()
FILES = World(by="files", slot=0.03, cut=0.025, cut_common=0.010, saddle_cut=0.035)


@dataclass
class Instrument:
    """One instrument on the bench; heights in mm over what the targets want."""

    world: World
    rng: np.random.Generator
    nut: np.ndarray = field(init=False)
    saddle: np.ndarray = field(init=False)
    frets: np.ndarray = field(init=False)
    first_saddle: np.ndarray = field(init=False)
    undo: tuple = field(init=False, default=())
    strung: int = field(init=False, default=0)
    spoiled: int | None = field(init=False, default=None)
    """A string whose slot the maker himself filed too deep."""
    right: np.ndarray = field(init=False)
    """The last set of readings without its slip of the pen: what reading it again would give."""

    def __post_init__(self):
        w, n = self.world, self.rng.normal
        self.nut = HOLD_BACK + n(0, w.seat) + n(0, w.seat_slope) * SPREAD + n(0, w.slot, STRINGS)
        neck = n(w.neck_mean, w.neck) + n(0, w.neck_slope) * SPREAD
        self.saddle = ALLOWANCE + neck + n(0, w.saddle_made, STRINGS)
        self.first_saddle = self.saddle
        self.frets = n(0, w.fret, (2, STRINGS)) / np.sqrt(2) + n(0, w.fret, (2, 1)) / np.sqrt(2)

    def over(self):
        """True clearances over their targets, shape (2, strings)."""
        return np.array(
            [
                (1 - T1) * self.nut + T1 * self.saddle - self.frets[0],
                (1 - T12) * self.nut + T12 * self.saddle - self.frets[1],
            ]
        )

    def lowest(self):
        """The least clearance over fret 1 against its target that the refit answers for."""
        return float(
            np.min(np.delete(self.over()[0], [] if self.spoiled is None else self.spoiled))
        )

    def read(self):
        """Both clearances as the maker reads them, shape (2, strings)."""
        w, n = self.world, self.rng.normal
        true = self.over() + np.array([TARGET_1, TARGET_12])
        if w.tail:
            unit = self.rng.standard_t(w.tail, true.shape) / np.sqrt(w.tail / (w.tail - 2))
        else:
            unit = n(0, 1, true.shape)
        read = true + w.read_sd * unit + n(0, w.read_common)
        step = w.read_step or 0.01
        read = np.maximum(np.round(read / step) * step, 0.01)
        self.right = read
        if w.slip and self.rng.random() < w.slip:
            at = tuple(self.rng.integers(0, (2, STRINGS)))
            read = read.copy()
            read[at] = max(read[at] + self.rng.uniform(0.3, 1.0) * self.rng.choice([-1, 1]), 0.01)
        return read

    def cut(self, nut, saddle, trim):
        """Take off what is asked, as well as this bench can."""
        w, n = self.world, self.rng.normal
        self.undo = (self.nut.copy(), self.saddle.copy())
        slots = nut > 0
        miss = n(0, w.cut, STRINGS) + n(0, w.cut_common) + w.cut_bias
        self.nut = self.nut - np.where(slots, np.maximum(nut + miss, 0), 0)
        if trim == "bottom":
            a, b = n(0, w.saddle_cut, 2)
            self.saddle = self.saddle - saddle - (a + b) / 2 - (b - a) / 2 * SPREAD
        elif trim == "crown":
            self.saddle = self.saddle - saddle - n(0, w.saddle_cut, STRINGS)

    def string_again(self):
        """Strings off, on, to pitch, and left for a day."""
        w, n = self.world, self.rng.normal
        self.strung += 1
        creep = abs(n(w.creep, w.creep)) * 0.5 ** (self.strung - 1)
        self.saddle = self.saddle + n(0, w.restring) + n(0, w.restring_slope) * SPREAD + creep


def with_reading(world, kind):
    """The world with one of the issue's ways of reading."""
    kinds = {
        "feeler 0.05, u 0.05": {"read_sd": 0.008, "read_step": 0.05, "stated": 0.05},
        "normal 0.025, u 0.05": {"read_sd": 0.025, "stated": 0.05},
        "normal 0.05, u 0.10": {"read_sd": 0.05, "stated": 0.10},
        "normal 0.05, u 0.05": {"read_sd": 0.05, "stated": 0.05},
    }
    return replace(world, **kinds[kind])


INCH_SLIP = 25.4


class Slip:
    """What goes wrong once, at one stringing; ``apply`` changes what is read or what is on it."""

    on_parts = frozenset(
        {
            "new nut", "nut shimmed", "slot filled", "slot over-deep", "new saddle", "saddle shimmed",
            "last not cut", "nut not cut", "saddle not cut", "neck moved",
        }
    )  # fmt: skip

    @staticmethod
    def parts(kind, inst):
        """A change of the instrument, made before it is read."""
        rng, w = inst.rng, inst.world
        if kind == "new nut":
            inst.nut = Instrument(w, rng).nut
        elif kind == "nut shimmed":
            inst.nut = inst.nut + rng.uniform(0.2, 0.5)
        elif kind == "slot filled":
            inst.nut = inst.nut + np.eye(STRINGS)[rng.integers(STRINGS)] * rng.uniform(0.2, 0.5)
        elif kind == "slot over-deep":
            inst.spoiled = int(rng.integers(STRINGS))
            inst.nut = inst.nut - np.eye(STRINGS)[inst.spoiled] * rng.uniform(0.2, 0.5)
        elif kind == "new saddle":
            # the neck stays where it is: only what was cut comes back
            made = inst.first_saddle + rng.normal(0, 0.05) + rng.normal(0, w.saddle_made, STRINGS)
            inst.saddle = made
        elif kind == "saddle shimmed":
            inst.saddle = inst.saddle + rng.uniform(0.3, 0.8)
        elif kind == "neck moved":
            inst.saddle = inst.saddle + 2 * rng.uniform(0.15, 0.4) * rng.choice([-1, 1])
        elif kind == "last not cut":
            inst.nut, inst.saddle = inst.undo
        elif kind == "nut not cut":
            inst.nut = inst.undo[0]
        elif kind == "saddle not cut":
            inst.saddle = inst.undo[1]

    @staticmethod
    def readings(kind, read, rng):
        """What is written down in place of what was read."""
        wrong = read.copy()
        if kind == "inches":
            wrong = np.round(read / INCH_SLIP, 3)
        elif kind == "frets swapped":
            wrong = read[::-1].copy()
        elif kind == "both reversed":
            wrong = read[:, ::-1].copy()
        elif kind == "first reversed":
            wrong[0] = read[0, ::-1]
        elif kind == "action reversed":
            wrong[1] = read[1, ::-1]
        elif kind == "one reading":
            at = tuple(rng.integers(0, (2, STRINGS)))
            wrong[at] = max(read[at] + rng.uniform(0.3, 1.0) * rng.choice([-1, 1]), 0.01)
            return wrong, at
        elif kind == "string swapped":
            at = int(rng.integers(STRINGS))
            wrong[:, at] = read[::-1, at]
            return wrong, (None, at)
        return wrong, None
