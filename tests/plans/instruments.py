"""Plausible instruments at random: every kind, courses, both hands, blanks of usual sizes.

All sizes are invented within what is common practice (no source): each is what a maker could find
on the bench, none is tuned to what the program can do.
"""

from __future__ import annotations

import random
from dataclasses import dataclass

MATERIALS = ("bone", "phenolic laminate", "hardwood", "brass", "hard plastic")
MACHINES = ("bench-mill", "light-router", "hand-bench", "template-laser")


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """What an instrument of one kind looks like: (low, high) in mm where no unit is said."""

    scale: tuple[float, float]
    width: tuple[float, float]
    radii: tuple[str, ...]
    margin: tuple[float, float]
    seat: tuple[float, ...]
    saddle: tuple[float, ...]
    ends: tuple[str, ...]
    wider: tuple[float, float]
    """How much wider the strings lie at the saddle than between the nut's margins."""
    first_fret: tuple[float, float]
    action: tuple[float, float]
    sets: tuple[tuple[tuple[str, str, str], ...], ...]
    """String sets from the bass side: note, gauge in inches, make."""
    courses: bool = False


WOUND, PLAIN, NYLON = "wound steel", "plain steel", "nylon"
LIGHT = (("E2", "0.053", WOUND), ("A2", "0.042", WOUND), ("D3", "0.032", WOUND),
         ("G3", "0.024", WOUND), ("B3", "0.016", PLAIN), ("E4", "0.012", PLAIN))  # fmt: skip
HEAVY = (("E2", "0.056", WOUND), ("A2", "0.045", WOUND), ("D3", "0.035", WOUND),
         ("G3", "0.026", WOUND), ("B3", "0.017", PLAIN), ("E4", "0.013", PLAIN))  # fmt: skip
THIN = (("E2", "0.046", WOUND), ("A2", "0.036", WOUND), ("D3", "0.026", WOUND),
        ("G3", "0.017", PLAIN), ("B3", "0.013", PLAIN), ("E4", "0.010", PLAIN))  # fmt: skip
NYLONS = (("E2", "0.043", "wound nylon"), ("A2", "0.035", "wound nylon"),
          ("D3", "0.029", "wound nylon"), ("G3", "0.040", NYLON), ("B3", "0.032", NYLON),
          ("E4", "0.028", NYLON))  # fmt: skip
FOUR = (("E1", "0.105", WOUND), ("A1", "0.085", WOUND), ("D2", "0.065", WOUND),
        ("G2", "0.045", WOUND))  # fmt: skip
FIVE = (("B0", "0.130", WOUND), *FOUR)
UKES = (("G4", "0.0224", NYLON), ("C4", "0.0339", NYLON), ("E4", "0.0291", NYLON),
        ("A4", "0.0205", NYLON))  # fmt: skip
PAIRS = (("G3", "0.040", WOUND), ("D4", "0.026", WOUND), ("A4", "0.015", PLAIN),
         ("E5", "0.011", PLAIN))  # fmt: skip
BANJOS = (("C3", "0.023", WOUND), ("G3", "0.014", PLAIN), ("B3", "0.012", PLAIN),
          ("D4", "0.010", PLAIN))  # fmt: skip

KINDS = {
    "steel-string": Kind(
        scale=(610, 660), width=(42.5, 47), radii=("12 in", "14 in", "16 in", "20 in"),
        margin=(2.9, 3.6), seat=(5.0, 5.5, 6.0, 6.35), saddle=(2.4, 3.0, 3.2), ends=("round",),
        wider=(14, 20), first_fret=(0.30, 0.62), action=(1.6, 2.6), sets=(LIGHT, HEAVY),
    ),
    "classical": Kind(
        scale=(628, 660), width=(48, 54), radii=("flat", "6096 mm", "20 in"), margin=(3.8, 5.0),
        seat=(4.8, 5.0, 6.0), saddle=(2.4, 2.8, 3.0), ends=("square",), wider=(14, 18),
        first_fret=(0.55, 0.85), action=(2.9, 4.1), sets=(NYLONS,),
    ),
    "electric": Kind(
        scale=(610, 660), width=(40, 43.5), radii=("7.25 in", "9.5 in", "10 in", "12 in", "16 in"),
        margin=(2.8, 3.5), seat=(3.2, 3.5, 5.0, 6.0), saddle=(3.0, 3.2), ends=("round", "square"),
        wider=(14, 18), first_fret=(0.25, 0.60), action=(1.4, 2.1), sets=(THIN, LIGHT),
    ),
    "bass": Kind(
        scale=(762, 889), width=(38, 45), radii=("7.25 in", "10 in", "12 in", "20 in"),
        margin=(3.4, 4.6), seat=(3.5, 5.0, 6.0), saddle=(3.0, 3.2, 4.0), ends=("round", "square"),
        wider=(20, 26), first_fret=(0.45, 0.62), action=(1.9, 2.6), sets=(FOUR, FIVE),
    ),
    "ukulele": Kind(
        scale=(345, 510), width=(34, 38), radii=("flat", "12 in"), margin=(3.0, 4.2),
        seat=(4.0, 4.8, 5.0), saddle=(2.4, 2.6, 3.0), ends=("square", "round"), wider=(8, 14),
        first_fret=(0.35, 0.50), action=(2.0, 2.8), sets=(UKES,),
    ),
    "mandolin": Kind(
        scale=(345, 358), width=(28, 31), radii=("flat", "10 in", "12 in"), margin=(1.9, 2.6),
        seat=(4.0, 4.5, 5.0), saddle=(2.6, 3.0), ends=("square",), wider=(12, 16),
        first_fret=(0.30, 0.50), action=(1.3, 1.9), sets=(PAIRS,), courses=True,
    ),
    "banjo": Kind(
        scale=(580, 680), width=(30, 34), radii=("flat", "12 in"), margin=(2.8, 3.6),
        seat=(4.0, 5.0), saddle=(3.0, 3.2), ends=("square",), wider=(14, 20),
        first_fret=(0.30, 0.60), action=(2.0, 2.9), sets=(BANJOS,),
    ),
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Instrument:
    """One random instrument and what it is to be made on."""

    text: str
    """The job file."""
    machine: str
    stage: str


def instruments(seed: int, count: int) -> list[Instrument]:
    """As many instruments, the same for a seed."""
    rng = random.Random(seed)
    return [_instrument(rng, i) for i in range(count)]


def _instrument(rng: random.Random, index: int) -> Instrument:
    name = rng.choice(sorted(KINDS))
    kind = KINDS[name]
    machine = rng.choices(MACHINES, weights=(4, 4, 1, 1))[0]
    text = _job(rng, index, name, kind, material=rng.choice(MATERIALS))
    return Instrument(text=text, machine=machine, stage=rng.choice(("rough", "final")))


def in_courses(seed: int, count: int) -> list[Instrument]:
    """As many twelve-strings and mandolins whose parts are of brass or phenolic, on
    every machine.
    """
    rng = random.Random(seed)
    return [_in_courses(rng, i) for i in range(count)]


def _in_courses(rng: random.Random, index: int) -> Instrument:
    name, material = rng.choice(("steel-string", "steel-string", "mandolin")), index % 2
    text = _job(
        rng, index, name, KINDS[name], material=("brass", "phenolic laminate")[material],
        twelve=name == "steel-string",
    )  # fmt: skip
    machine = MACHINES[index // 2 % len(MACHINES)]
    return Instrument(text=text, machine=machine, stage=rng.choice(("rough", "final")))


def _job(  # every argument is a fact of its own
    rng: random.Random,
    index: int,
    name: str,
    kind: Kind,
    *,
    material: str,
    twelve: bool | None = None,
) -> str:
    chosen = rng.choice(kind.sets)
    if twelve is None:
        twelve = name == "steel-string" and rng.random() < 0.15
    doubled = kind.courses or twelve
    scale = rng.uniform(*kind.scale)
    width = rng.uniform(*kind.width) + (4.0 if twelve else 0.0) + 4.5 * (len(chosen) > 4
                                                                     and name == "bass")  # fmt: skip
    margins = [rng.uniform(*kind.margin) for _ in range(2)]
    span = width - sum(margins) + rng.uniform(*kind.wider)
    seat = rng.choice(kind.seat) + rng.uniform(-0.06, 0.06)
    slot = rng.choice(kind.saddle) + rng.uniform(-0.05, 0.05)
    length = span + rng.uniform(12, 24)
    first = sorted(rng.uniform(*kind.first_fret) for _ in range(2))
    action = sorted(rng.uniform(*kind.action) for _ in range(2))
    drop, deep = rng.uniform(4.2, 5.8), rng.uniform(4.0, 6.0)
    nut_high = rng.choice((9.0, 10.0, 10.0, 12.0))
    fret_line = {"classical": -3.2, "ukulele": 0.0}.get(name, 0.5) + rng.uniform(-0.8, 0.8)
    return "\n".join(
        [
            f'[instrument]\nname = "Quillmere random {index}"\nkind = "{name}"',
            f'scale = "{scale:.1f} mm"\nhanded = "{"left" if rng.random() < 0.15 else "right"}"',
            f'[board]\nwidth_at_nut = "{width:.2f} mm"\nradius = "{rng.choice(kind.radii)}"',
            f'relief = "{rng.uniform(0.02, 0.25):.2f} mm"',
            *_strings(chosen, doubled=doubled, octaves=twelve),
            f'[nut]\nseat_width = "{seat:.2f} mm"\nseat_drop = "{drop:.2f} mm"',
            f'margin_bass = "{margins[0]:.2f} mm"\nmargin_treble = "{margins[1]:.2f} mm"',
            f'tilt = "{rng.choice((0, 3, 5, 7, 10))} deg"',
            f'first_fret = {{ bass = "{first[1]:.2f} mm", treble = "{first[0]:.2f} mm" }}',
            f'spacing = "{rng.choice(("equal gaps", "equal centres"))}"',
            f'[saddle]\nslot_width = "{slot:.2f} mm"\nslot_length = "{length:.1f} mm"',
            f'slot_depth = "{deep:.2f} mm"\nslot_ends = "{rng.choice(kind.ends)}"',
            f'front_at = "{scale + scale * rng.uniform(0.001, 0.0025):.1f} mm"',
            f'string_span = "{span:.1f} mm"\nfret_line = "{fret_line:.2f} mm"',
            f'action = {{ bass = "{action[1]:.2f} mm", treble = "{action[0]:.2f} mm" }}',
            f'top = "{rng.choice(("board radius", "board radius", "per string"))}"',
            f'[blanks]\nmaterial = "{material}"\nfit = "{rng.choice(("snug", "hand", "sliding"))}"',
            _blank("nut", width + rng.uniform(4, 9), nut_high, seat + rng.choice((0.0, 0.05, 0.3))),
            _blank("saddle", length + rng.uniform(4, 9), rng.choice((12.0, 13.0, 14.0)),
                   slot + rng.choice((0.0, 0.05, 0.3))),
            _plan(rng),
        ]
    )  # fmt: skip


def _blank(part: str, length: float, height: float, thickness: float) -> str:
    return (
        f'{part} = {{ length = "{length:.1f} mm", height = "{height:g} mm", '
        f'thickness = "{thickness:.2f} mm" }}'
    )


def _plan(rng: random.Random) -> str:
    outline, ends = rng.choice(("mill", "saw")), rng.choice(("mill", "mill", "hand"))
    return (
        f'[plan]\noutline = "{outline}"\nends = "{ends}"\n'
        f'thickness = "{rng.choice(("hand", "hand", "mill"))}"'
    )


def _strings(
    chosen: tuple[tuple[str, str, str], ...], *, doubled: bool, octaves: bool
) -> list[str]:
    """The tables of the strings from the bass side, numbered from the treble's."""
    each = []
    for course, (note, gauge, make) in zip(range(len(chosen), 0, -1), chosen, strict=True):
        own = f"course = {course}\n" if doubled else ""
        each.append((note, gauge, make, own))
        if doubled:
            each.append((*_second(note, gauge, make, octaves=octaves), own))
    return [
        f'[[strings]]\nnumber = {len(each) - i}\nnote = "{n}"\ngauge = "{g} in"\nmake = "{m}"\n{own}'
        for i, (n, g, m, own) in enumerate(each)
    ]


def _second(note: str, gauge: str, make: str, *, octaves: bool) -> tuple[str, str, str]:
    """The other string of a course: the same, or an octave higher."""
    if not (octaves and make == WOUND):
        return note, gauge, make
    return _octave(note), f"{float(gauge) * 0.5:.3f}", PLAIN if float(gauge) < 0.046 else WOUND


def _octave(note: str) -> str:
    return f"{note[:-1]}{int(note[-1]) + 1}"
