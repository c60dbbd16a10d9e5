"""Ways to damage a good program, as changes of its text alone.

Each takes the program's lines and gives the damaged lines, or None where the program has nothing
of the kind to damage. Every one of them is a mistake that has been made: by a hand that edits, a
post-processor, a bad transfer, a wrong setting.
"""

import math
import re

WORD = re.compile(r"([A-Z])(-?[\d.]+)")
FAULTS = {}


def fault(function):
    FAULTS[function.__name__] = function
    return function


def is_code(line):
    """Code in the program's own zero: of moves in machine coordinates there are faults below."""
    return bool(line) and line[0] not in "(;%" and not line.startswith("G53")


def has(line, *words):
    """Whether a line of code holds all of these, words or letters."""
    bare = re.sub(r"\(.*?\)|;.*", "", line) if is_code(line) else ""
    found = {w for w, _ in WORD.findall(bare)} | set(bare.split())
    return bool(bare) and all(w in found for w in words)


def value(line, letter):
    found = re.search(rf"{letter}(-?[\d.]+)", line)
    return float(found[1]) if found else None


def with_value(line, letter, number, digits=4):
    return re.sub(rf"{letter}-?[\d.]+", f"{letter}{number:.{digits}f}", line, count=1)


def indices(lines, *words):
    return [i for i, line in enumerate(lines) if has(line, *words)]


def changed(lines, i, line):
    return [*lines[:i], line, *lines[i + 1 :]]


def first(lines, words, change, which=0):
    at = indices(lines, *words)
    return changed(lines, at[which], change(lines[at[which]])) if at else None


def every(lines, change):
    out = [change(line) if is_code(line) else line for line in lines]
    return out if out != lines else None


def deepest(lines):
    """Index of the cutting move that goes deepest, or of any move where cuts run level."""
    at = indices(lines, "Z")
    return min([i for i in at if cuts(lines[i])] or at, key=lambda i: value(lines[i], "Z"))


def early_long_cut(lines):
    """Index of the first cutting move at least half as long as the longest: one through stock."""
    at, moved = {}, {}
    for i, line in enumerate(lines):
        to = at | {a: v for a in "XYZ" if is_code(line) and (v := value(line, a)) is not None}
        if is_code(line) and cuts(line) and len(at) == 3:
            moved[i] = math.dist(at.values(), [to[a] for a in at])
        at = to
    return min(i for i, length in moved.items() if length >= max(moved.values()) / 2)


def cuts(line):
    return any(has(line, g) for g in ("G1", "G2", "G3"))


def clearance_of(lines):
    """The highest place of a program in its own zero."""
    return max(v for s in lines if has(s, "G0") and (v := value(s, "Z")) is not None)


def span(lines, letter):
    found = [v for line in lines if is_code(line) if (v := value(line, letter)) is not None]
    return min(found), max(found)


def shift(letter, by):
    def change(line):
        at = value(line, letter)
        return line if at is None else with_value(line, letter, at + by)

    return lambda lines: every(lines, change)


# -- numbers --------------------------------------------------------------------------------


@fault
def a_sign_lost(lines):
    at = [i for i in indices(lines, "G0", "X") if value(lines[i], "X") < -1]
    return changed(lines, at[0], lines[at[0]].replace("X-", "X", 1)) if at else None


@fault
def a_sign_too_many(lines):
    i = deepest(lines)
    return changed(lines, i, lines[i].replace("Z", "Z-", 1))


@fault
def a_decimal_point_moved_left(lines):
    i = deepest(lines)
    return changed(lines, i, with_value(lines[i], "Z", value(lines[i], "Z") / 10))


@fault
def a_decimal_point_lost(lines):
    return first(lines, ("G0", "X"), lambda s: re.sub(r"X(-?\d+)\.", r"X\1", s))


@fault
def a_letter_for_a_nought(lines):
    return first(lines, ("G1", "Z"), lambda s: re.sub(r"(Z-?[\d.]+)", r"\1O", s))


@fault
def a_comma_for_the_point(lines):
    return first(lines, ("G1", "Z"), lambda s: re.sub(r"(Z-?\d+)\.", r"\1,", s))


@fault
def a_word_twice(lines):
    return first(lines, ("G1", "Z"), lambda s: s + " Z1.0")


@fault
def heights_rounded_to_a_tenth(lines):
    return every(lines, lambda s: re.sub(r"Z(-?[\d.]+)", lambda m: f"Z{float(m[1]):.1f}", s))


@fault
def one_height_lower_by_two_hundredths(lines):
    i = deepest(lines)
    return changed(lines, i, with_value(lines[i], "Z", value(lines[i], "Z") - 0.05))


FAULTS["zero_off_along_x"] = shift("X", 0.02)
FAULTS["zero_too_low"] = shift("Z", -0.02)
FAULTS["zero_too_high"] = shift("Z", 0.05)
FAULTS["zero_off_along_y"] = shift("Y", 3.0)


# -- arcs -----------------------------------------------------------------------------------


def arcs(lines):
    return [i for i, s in enumerate(lines) if has(s, "G2") or has(s, "G3")]


def swapped(line):
    turned = {"G2": "G3", "G3": "G2"}
    return re.sub(r"\bG[23]\b", lambda m: turned[m[0]], line)


def on_arc(change, which=0):
    def damage(lines):
        at = [i for i in arcs(lines) if change(lines[i]) != lines[i]]
        return changed(lines, at[which], change(lines[at[which]])) if at else None

    return damage


def flipped(letter):
    def change(line):
        at = value(line, letter)
        return line if not at else with_value(line, letter, -at)

    return change


FAULTS["an_arc_turned_round"] = on_arc(swapped)
FAULTS["every_arc_turned_round"] = lambda lines: every(lines, swapped)
FAULTS["a_centre_on_the_other_side"] = on_arc(lambda s: flipped("K")(flipped("J")(s)))


@fault
def a_centre_to_the_left(lines):
    """Of the arc that is farthest from straight: of one nearly straight it changes nothing."""

    def bent(i):
        reach = [value(lines[i], a) or 0.0 for a in "IJK"]
        return reach[0] ** 2 / math.hypot(*reach)

    at = [i for i in arcs(lines) if value(lines[i], "I")]
    i = max(at, key=bent, default=None)
    return None if i is None else changed(lines, i, flipped("I")(lines[i]))


FAULTS["an_arc_end_off_its_circle"] = on_arc(
    lambda s: with_value(s, a, value(s, a) + 0.5) if (a := "Z" if "Z" in s else "Y") in s else s
)
FAULTS["a_centre_lost"] = on_arc(lambda s: re.sub(r" [IJK]-?[\d.]+", "", s))
FAULTS["an_arc_made_a_chord"] = on_arc(
    lambda s: re.sub(r" [IJK]-?[\d.]+", "", re.sub(r"\bG[23]\b", "G1", s))
)


@fault
def the_plane_not_set(lines):
    at = indices(lines, "G18")
    return [s for s in lines if not has(s, "G18")] if at else None


@fault
def the_wrong_plane(lines):
    return first(lines, ("G18",), lambda s: s.replace("G18", "G19"))


@fault
def an_arc_closed_to_a_full_circle(lines):
    at = arcs(lines)
    for i in at:
        x, z = (
            next((v for s in reversed(lines[:i]) if (v := value(s, a)) is not None), None)
            for a in "XZ"
        )
        if "X" in lines[i] and "Z" in lines[i] and None not in (x, z):
            return changed(lines, i, with_value(with_value(lines[i], "X", x), "Z", z))
    return None


# -- moves ----------------------------------------------------------------------------------


def retracts(lines):
    """Lines that lift at rapid and are followed by a rapid across."""
    return [
        i
        for i in indices(lines, "G0", "Z")
        if not has(lines[i], "X") and any(has(s, "G0", "X") for s in lines[i + 1 : i + 2])
    ]


@fault
def a_retract_dropped(lines):
    after_cut = [i for i in retracts(lines) if cuts(lines[i - 1]) or has(lines[i - 1], "G17")]
    return lines[: after_cut[0]] + lines[after_cut[0] + 1 :] if after_cut else None


@fault
def all_retracts_dropped(lines):
    drop = set(retracts(lines)[1:])
    return [s for i, s in enumerate(lines) if i not in drop] if drop else None


@fault
def a_cut_made_at_rapid(lines):
    i = early_long_cut(lines)
    straight = re.sub(r"G[123](?!\d)", "G0", lines[i])
    return changed(lines, i, re.sub(r"\s*[IJK]-?[\d.]+", "", straight))


@fault
def every_cut_at_rapid(lines):
    return every(lines, lambda s: re.sub(r"\s*F[\d.]+", "", s.replace("G1 ", "G0 ")))


@fault
def the_clearance_plane_too_low(lines):
    top = span([s for s in lines if has(s, "G0")], "Z")[1]
    return every(lines, lambda s: with_value(s, "Z", 1.0) if value(s, "Z") == top else s)


@fault
def the_last_cut_dropped(lines):
    at = deepest(lines)
    same = lines[at]
    return [s for s in lines if s != same]


@fault
def three_passes_in_four_dropped(lines):
    """Arcs or long lines along x: the ridges between the passes stand too high."""
    at = arcs(lines) or indices(lines, "G1", "X")
    drop = set(at) - set(at[::4])
    return [s for i, s in enumerate(lines) if i not in drop] if len(at) > 3 else None


@fault
def slots_stopped_short(lines):
    long = [s for s in lines if has(s, "G1", "Y")]
    if not long:
        return None
    high = span(long, "Y")[1]
    return every(lines, lambda s: with_value(s, "Y", 1.0)
                  if has(s, "G1") and value(s, "Y") == high else s)  # fmt: skip


@fault
def x_and_y_exchanged(lines):
    other = {"X": "Y", "Y": "X"}
    return every(lines, lambda s: re.sub("[XY]", lambda m: other[m[0]], s))


@fault
def the_part_mirrored(lines):
    low, high = span(lines, "X")

    def change(line):
        at = value(line, "X")
        line = line if at is None else with_value(line, "X", low + high - at)
        return swapped(flipped("I")(line))

    return every(lines, change)


@fault
def incremental_left_on(lines):
    return first(lines, ("G90",), lambda s: s.replace("G90", "G91"))


@fault
def a_stray_rapid_into_the_jaws(lines):
    i = next(i for i, s in enumerate(lines) if cuts(s))
    return [*lines[: i + 1], "G0 Y-6.0", "G0 Z2.0", *lines[i + 1 :]]


# -- the way up, and parking -----------------------------------------------------------------


def ways_up(lines):
    """Lines that go up in machine coordinates; without any, the first line in Z."""
    own = [i for i, s in enumerate(lines) if s.startswith("G53 G0 Z")]
    return own or indices(lines, "G0", "Z")[:1]


@fault
def the_first_way_up_dropped(lines):
    at = ways_up(lines)[0]
    return [s for i, s in enumerate(lines) if i != at and (not s.startswith("G53") or i > at + 3)]


@fault
def the_first_way_up_aslant(lines):
    at = ways_up(lines)[0]
    return changed(lines, at, lines[at].replace("G0 ", "G0 X9 Y9 "))


@fault
def parked_at_working_height(lines):
    at = ways_up(lines)[-1]
    return lines[:at] + lines[at + 1 :] if lines[at].startswith("G53") else None


@fault
def not_parked(lines):
    at = [i for i, s in enumerate(lines) if s.startswith("G53 G0 X")]
    return lines[: at[-1]] + lines[at[-1] + 1 :] if at else None


@fault
def a_safe_height_that_is_low(lines):
    """As a decimal point lost in the height would have it."""
    at = [i for i, s in enumerate(lines) if s.startswith("G53 G0 Z")]
    return changed(lines, at[-1], with_value(lines[at[-1]], "Z", -20.0)) if at else None


# -- units, feeds, speeds, tools ------------------------------------------------------------


@fault
def units_swapped(lines):
    other = {"G20": "G21", "G21": "G20"}
    return every(lines, lambda s: re.sub(r"\bG2[01]\b", lambda m: other[m[0]], s))


@fault
def units_not_set(lines):
    return every(lines, lambda s: re.sub(r"\bG2[01]\b ?", "", s))


@fault
def feeds_missing(lines):
    return every(lines, lambda s: re.sub(r" ?F[\d.]+", "", s))


@fault
def a_feed_of_nothing(lines):
    return first(lines, ("F",), lambda s: re.sub(r"F[\d.]+", "F0", s))


@fault
def feeds_ten_times_too_high(lines):
    return every(lines, lambda s: re.sub(r"F([\d.]+)", lambda m: f"F{float(m[1]) * 10:g}", s))


@fault
def the_spindle_never_started(lines):
    return every(lines, lambda s: re.sub(r" ?\bM3\b", "", s))


@fault
def the_spindle_backwards(lines):
    return every(lines, lambda s: re.sub(r"\bM3\b", "M4", s))


@fault
def no_speed(lines):
    return every(lines, lambda s: re.sub(r"\bS\d+ ?", "", s))


@fault
def ten_times_the_speed(lines):
    return every(lines, lambda s: re.sub(r"\bS(\d+)", r"S\g<1>0", s))


@fault
def the_spindle_stopped_too_early(lines):
    i = next(i for i, s in enumerate(lines) if cuts(s))
    return [*lines[:i], "M5", *lines[i:]]


@fault
def a_tool_the_machine_has_not(lines):
    return first(lines, ("T",), lambda s: re.sub(r"T\d+", "T98", s))


@fault
def no_tool_named(lines):
    return every(lines, lambda s: re.sub(r"\bT\d+ ?", "", s))


@fault
def tools_exchanged(lines):
    named = sorted({m[0] for s in lines if is_code(s) for m in re.finditer(r"\bT\d+", s)})
    if len(named) < 2:
        return None
    other = {named[0]: named[1], named[1]: named[0]}
    return every(lines, lambda s: re.sub(r"\bT\d+", lambda m: other.get(m[0], m[0]), s))


@fault
def a_tool_change_dropped(lines):
    at = indices(lines, "T")
    if len(at) < 2:
        return None
    return [s for i, s in enumerate(lines) if i != at[1] and not has(s, "M0")]


@fault
def the_spindle_left_turning(lines):
    return every(lines, lambda s: "" if s == "M5" else s)


@fault
def another_length_offset(lines):
    return first(lines, ("G43",), lambda s: re.sub(r"H\d+", "H97", s))


# -- the file -------------------------------------------------------------------------------


@fault
def the_file_cut_off(lines):
    return lines[: len(lines) * 2 // 3]


@fault
def the_last_line_missing(lines):
    return [s for s in lines if not has(s, "M30") and not has(s, "M2")]


@fault
def a_line_cut_off(lines):
    i = deepest(lines)
    return changed(lines, i, lines[i][: lines[i].index("Z") + 1])


@fault
def more_after_the_end(lines):
    return [*lines, "G0 Z0"]


@fault
def two_programs_in_one(lines):
    return [*lines, *lines]


@fault
def a_comment_not_closed(lines):
    return first(lines, ("G1", "Z"), lambda s: "(was " + s)


@fault
def a_comment_inside_another(lines):
    return first(lines, ("G1", "Z"), lambda s: s + " (now (deeper) so)")


@fault
def a_byte_from_another_alphabet(lines):
    return first(lines, ("G1", "Z"), lambda s: s.replace("Z", "Ζ", 1))


@fault
def a_switch_before_a_line(lines):
    return first(lines, ("G1", "Z"), lambda s: "/" + s)


@fault
def a_line_too_long(lines):
    return first(lines, ("G1", "Z"), lambda s: s + " " * 200 + "F100")


@fault
def an_expression(lines):
    return first(lines, ("G1", "Z"), lambda s: re.sub(r"Z([\d.]+)", r"Z[\1+0]", s))


@fault
def an_exponent(lines):
    return first(lines, ("G1", "Z"), lambda s: re.sub(r"Z([\d.]+)", r"Z\1E0", s))


# -- modes ----------------------------------------------------------------------------------


def before_first_cut(extra):
    def damage(lines):
        i = next(i for i, s in enumerate(lines) if cuts(s))
        return [*lines[:i], extra, *lines[i:]]

    return damage


FAULTS["cutter_compensation_on"] = before_first_cut("G41 D1")
FAULTS["a_zero_shifted"] = before_first_cut("G92 Z0")
FAULTS["another_zero"] = before_first_cut("G55")
FAULTS["home_on_the_way"] = before_first_cut("G28 Z0")
FAULTS["machine_coordinates"] = before_first_cut("G53 G0 Z0")
FAULTS["inverse_time"] = before_first_cut("G93")
FAULTS["an_optional_stop"] = before_first_cut("M1")
FAULTS["corners_rounded_without_bound"] = before_first_cut("G64")
FAULTS["a_code_nobody_knows"] = before_first_cut("G47")
FAULTS["two_planes_at_once"] = before_first_cut("G17 G18")


# -- the right findings ------------------------------------------------------------------------

CONTACTS = {"C01", "C02", "C03", "C04", "C05", "C06"}
PART = {"J01", "J02", "J03", "J04", "J05", "J06"}
LIMITS = {"M04", "M05", "M08", "M09", "M13", "M19", "M20", "M21"}
MOVED = frozenset(CONTACTS | PART | LIMITS | {"R41", "R42", "R43"})
"""What a wrong path may show as: contact, the part, travel, depth, feed, or an arc that fails."""

RIGHT = {
    "a_letter_for_a_nought": "R04", "a_comma_for_the_point": "R04", "a_word_twice": "R12",
    "a_centre_to_the_left": "R41",
    "an_arc_end_off_its_circle": "R41", "a_centre_lost": "R43", "the_plane_not_set": "R43",
    "the_wrong_plane": "R42 R43 R44", "an_arc_closed_to_a_full_circle": "R42",
    "a_cut_made_at_rapid": "C01", "every_cut_at_rapid": "C01 M03 R51",
    "incremental_left_on": "M07 R14 R41 M08 M20", "units_swapped": "R21", "units_not_set": "R21",
    "feeds_missing": "M03", "a_feed_of_nothing": "M03", "feeds_ten_times_too_high": "M04 M05",
    "the_spindle_never_started": "M01", "the_spindle_backwards": "M01", "no_speed": "M02",
    "ten_times_the_speed": "M02", "the_spindle_stopped_too_early": "M01",
    "a_tool_the_machine_has_not": "M06", "no_tool_named": "M06",
    "the_spindle_left_turning": "R33 M11", "another_length_offset": "M10",
    "the_file_cut_off": "R31", "the_last_line_missing": "R31", "a_line_cut_off": "R04",
    "more_after_the_end": "R32", "two_programs_in_one": "R32", "a_comment_not_closed": "R03",
    "a_comment_inside_another": "R03", "a_byte_from_another_alphabet": "R01",
    "a_switch_before_a_line": "R08", "a_line_too_long": "R02", "an_expression": "R04",
    "an_exponent": "R11 R04", "cutter_compensation_on": "R14", "a_zero_shifted": "R14",
    "another_zero": "R14", "home_on_the_way": "R14", "machine_coordinates": "R22 M20 M07",
    "inverse_time": "R14", "an_optional_stop": "R15", "corners_rounded_without_bound": "R18 R22",
    "the_first_way_up_dropped": "M19 M07", "the_first_way_up_aslant": "M19 M20",
    "parked_at_working_height": "M20 M21", "not_parked": "M21",
    "a_safe_height_that_is_low": "M20",
    "a_code_nobody_knows": "R14", "two_planes_at_once": "R16",
}  # fmt: skip


def right(name):
    """The codes of which one at least must be found for a kind of fault."""
    more = {
        "tools_exchanged": {"M10"},
        "a_tool_change_dropped": {"M10"},
        "a_sign_too_many": {"R04"},
        "zero_too_low": {"H02"},  # on face nothing but the tabs is cut to a height
        "a_decimal_point_lost": {"R13"},  # a number no machine's travel holds
    }
    return set(RIGHT[name].split()) if name in RIGHT else MOVED | more.get(name, set())


def damaged(text, name):
    """The program damaged in the named way, or None where it has nothing of the kind."""
    lines = FAULTS[name](text.rstrip("\n").split("\n"))
    result = None if lines is None else "\n".join(lines) + "\n"
    return None if result == text else result
