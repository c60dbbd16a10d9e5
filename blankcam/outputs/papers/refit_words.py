"""A refit in a maker's words: what each string wants, and what to ask where readings surprise."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from blankcam.data import table
from blankcam.refit.numbers import number_at
from blankcam.refit.questions import Cause, Explanation, Family
from blankcam.refit.verdict import FretVerdict, StringVerdict

MOST_CAUSES = 3
_LEAST_LIKELY = 0.02
_LEAST_SHIM, _MOST_SHIM = table("sane")["readings"]["shim"]
_MOST_MOVED: float = table("refit")["part"]["most_moved"]
_TOO_FAR = "nothing usual moves it so far, so read again first"
_NECK = (
    " if the neck moved, set its relief and let it settle first: lowering the saddle later lowers"
    " the strings a little over fret 1 too"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Surprise:
    """Readings that were not used, as far as words need them."""

    explanations: tuple[Explanation, ...]
    """The likeliest family first."""
    strings: int
    worst: int
    """The string farthest from what was foreseen: its number."""
    fret: int
    read: float
    foreseen: float
    band: float
    nut_rise: float
    """How much higher than the book says the nut would stand by the readings, mm."""
    saddle_rise: float
    part_names: tuple[str, str]
    """``nut 1``, ``saddle 2``."""


def string_words(v: StringVerdict) -> str:
    """What one string wants."""
    name = f"string {v.number}"
    if v.unread:
        return f"{name} is not read yet"
    if v.first.low:
        anew = "file" if v.by == "files" else "cut"
        return (
            f"{name} is {-v.nut_over:.2f} mm too low at the nut: fill its slot and {anew} it again,"
            " shim the nut, or make a new one, and say so in the next readings"
        )
    if v.twelfth.low:
        return (
            f"{name} is {v.twelfth.wanted - v.twelfth.believed:.2f} mm too low over fret 12: shim"
            " the saddle or make a new one, and say so in the next readings"
        )
    if v.nut_take:
        return f"{name} is {max(v.nut_over, v.nut_take):.2f} mm too high at the nut: {_slot(v)}"
    if v.saddle_take:
        return (
            f"{name} is {_over(v.twelfth):.2f} mm too high over fret 12: the saddle comes down"
            f" {v.saddle_take:.2f} mm under it"
        )
    if v.waits:
        return f"{name} waits: cutting its slot now would bring its action under the target"
    over = ((v.nut_made, v.first, 1), (v.saddle_made, v.twelfth, 12))
    told = (f"{seen.believed:.2f} mm over fret {fret}" for made, seen, fret in over if made)
    return f"{name} is done: {', '.join(told)}"


def _over(v: FretVerdict) -> float:
    return v.believed - v.wanted


def _slot(v: StringVerdict) -> str:
    if v.by == "files":
        return f"file its slot {v.nut_take:.2f} mm deeper, then measure again"
    return f"its slot is cut {v.nut_take:.2f} mm deeper, then measure again"


def scatter_words(times: float, stated: float) -> str:
    """Told where readings scatter more than the maker states."""
    return (
        f"your readings scatter about {times:.1f} times what you state ({stated:g} mm): cuts and"
        f' bands allow for that; to say so, write uncertainty = "{times * stated:.2f} mm"'
    )


def outside_words(verdicts: Sequence[StringVerdict]) -> Iterator[str]:
    """Told where most strings were read outside what was expected over a fret, and yet are used."""
    for fret, seen in ((1, [v.first for v in verdicts]), (12, [v.twelfth for v in verdicts])):
        off = [v.read - v.foreseen for v in seen if v.read is not None]
        bands = [v.foreseen_band for v in seen if v.read is not None]
        if 2 * sum(abs(o) > band for o, band in zip(off, bands, strict=True)) > len(off):
            way = "higher" if sum(off) > 0 else "lower"
            yield (
                f"over fret {fret} most strings were read {way} than expected: the readings are "
                "used, for nothing explains them better than the strings' pull; look at the neck "
                "and its relief before you cut"
            )


def surprise_words(s: Surprise) -> str:
    """What was not as foreseen."""
    low, high = s.foreseen - s.band, s.foreseen + s.band
    return (
        f"string {s.worst} was read {s.read:.2f} mm over fret {s.fret} where {max(low, 0):.2f} to"
        f" {high:.2f} mm was expected: these readings are not used, and nothing is written"
    )


CONFIRM = 'if they are right all the same, take them again and add measured = "twice"'


def cause_words(s: Surprise) -> Iterator[tuple[str, str]]:
    """The likely causes in their order, a family each: what may be, and what would do."""
    shown = 0
    for family in dict.fromkeys(e.cause.family for e in s.explanations):
        members = [e for e in s.explanations if e.cause.family == family]
        if shown and sum(e.likely for e in members) < _LEAST_LIKELY:
            continue
        yield _FAMILY_WORDS[family](s, members)
        shown += 1
        if shown == MOST_CAUSES:
            return


_Words = tuple[str, str]


def _inches(_: Surprise, members: Sequence[Explanation]) -> _Words:
    which = members[0].cause.which
    of = {"first_fret": "the readings over fret 1 are", "action": "the readings over fret 12 are"}
    what = of.get(which or "", "the readings are")
    return f"{what} inches typed as millimetres", 'write inches with their unit: "0.024 in"'


def _point(_: Surprise, members: Sequence[Explanation]) -> _Words:
    fret = 1 if members[0].cause.which == "first_fret" else 12
    return (
        f"the decimal point moved in all readings over fret {fret}",
        "write them as they were read",
    )


def _swapped(s: Surprise, members: Sequence[Explanation]) -> _Words:
    cause = members[0].cause
    if cause.kind == "string_swapped":
        return (
            f"string {_number(s, cause)}'s two readings are swapped",
            "write each over its own fret",
        )
    return "the readings over fret 1 and fret 12 are swapped", "swap first_fret and action"


def _reversed(s: Surprise, members: Sequence[Explanation]) -> _Words:
    of = {"first_reversed": " over fret 1", "action_reversed": " over fret 12"}
    which = of.get(members[0].cause.kind, "")
    return (
        f"the readings{which} are numbered from the wrong end",
        f"string 1 is the treble side's outermost, string {s.strings} the bass side's",
    )


def _one_reading(s: Surprise, members: Sequence[Explanation]) -> _Words:
    cause = members[0].cause
    fret = 1 if cause.which == "first_fret" else 12
    return f"one reading is wrong: string {_number(s, cause)} over fret {fret}", "read it again"


def _nut(s: Surprise, members: Sequence[Explanation]) -> _Words:
    told = {
        "new_nut": f"it is another than {s.part_names[0]}",
        "nut_not_cut": "it was not cut at the last refit",
        "last_not_cut": "neither part was cut at the last refit",
        "nut_shimmed": "a shim lies under it",
    }
    why = " or ".join(told[k] for k in _kinds(members))
    way = "higher" if s.nut_rise > 0 else "lower"
    what = f"the nut stands {abs(s.nut_rise):.2f} mm {way} than expected"
    if abs(s.nut_rise) > _MOST_SHIM:
        return what, f'{_TOO_FAR}; for another nut write nut = "new"'
    ways = {
        "new_nut": 'nut = "new"',
        "nut_not_cut": 'last_refit = "nut not cut"',
        "last_not_cut": 'last_refit = "not cut"',
        "nut_shimmed": f'nut = "shimmed {max(s.nut_rise, _LEAST_SHIM):.2f} mm"',
    }
    say = " or ".join(dict.fromkeys(ways[k] for k in _kinds(members)))
    return f"{what}: {why}", f"write {say}"


def _kinds(members: Sequence[Explanation]) -> Iterator[str]:
    """The causes of one family that are worth a word, the likeliest first."""
    kinds = [e.cause.kind for e in members if e.likely > _LEAST_LIKELY] or [members[0].cause.kind]
    yield from dict.fromkeys(kinds)


def _slot_odd(s: Surprise, members: Sequence[Explanation]) -> _Words:
    number = _number(s, members[0].cause)
    return (
        f"string {number}'s slot is not as the book says: filled, or filed deeper",
        f"if it was filled, write filled = [{number}]",
    )


def _saddle(s: Surprise, members: Sequence[Explanation]) -> _Words:
    told = {
        "new_saddle": f"it is another than {s.part_names[1]}",
        "saddle_shimmed": "a shim lies under it",
        "saddle_not_cut": "it was not cut at the last refit",
        "neck_moved": "the neck moved",
        "not_settled": "the instrument has not settled yet",
        "relief_changed": "the relief was changed",
    }
    why = " or ".join(told[k] for k in _kinds(members))
    way = "higher" if s.saddle_rise > 0 else "lower"
    what = f"the saddle stands {abs(s.saddle_rise):.2f} mm {way} against the frets than expected"
    if abs(s.saddle_rise) > _MOST_MOVED:
        return f"{what}: {why}", f'{_TOO_FAR}; for another saddle write saddle = "new"'
    shimmed = _LEAST_SHIM <= s.saddle_rise <= _MOST_SHIM
    shim = f', for a shim under it saddle = "shimmed {s.saddle_rise:.2f} mm"' if shimmed else ""
    kinds = set(_kinds(members))
    uncut = (
        '; if it was not cut, last_refit = "saddle not cut"' if "saddle_not_cut" in kinds else ""
    )
    return f"{what}: {why}", f'for another saddle write saddle = "new"{shim}{uncut};{_NECK}'


def _stage(_: Surprise, members: Sequence[Explanation]) -> _Words:
    which = members[0].cause.which
    parts = {"nut": "the nut was", "saddle": "the saddle was"}.get(which or "", "the parts were")
    return f"{parts} cut to the other stage when made", 'write stage = "final" or stage = "rough"'


def _number(s: Surprise, cause: Cause) -> int:
    assert cause.string is not None
    return number_at(cause.string, s.strings)


_FAMILY_WORDS: Mapping[Family, Callable[[Surprise, Sequence[Explanation]], _Words]] = {
    "inches": _inches,
    "point": _point,
    "swapped": _swapped,
    "reversed": _reversed,
    "one reading": _one_reading,
    "nut": _nut,
    "slot": _slot_odd,
    "saddle": _saddle,
    "stage": _stage,
}
