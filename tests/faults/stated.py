"""Changes of what a program tells its operator, each with the finding that must catch it.

Each takes a program's text and gives the changed text, or None where it states nothing of the kind.
The moves stay as they were.
"""

import re

from blankcam.replay.codes import Code

STATED = {}
NUMBER = r"(-?\d+(?:\.\d+)?)"


def stated(code):
    def keep(function):
        STATED[function.__name__] = (function, code)
        return function

    return keep


def changed(pattern, becomes):
    """The first match exchanged; the pattern's numbers come as groups."""

    def damage(text):
        found = re.search(pattern, text, re.MULTILINE)
        if found is None:
            return None
        out = text[: found.start()] + becomes(found) + text[found.end() :]
        return out if out != text else None

    return damage


def more(pattern, by, digits=2):
    """The number that is the pattern's second of three groups, so much greater."""
    return changed(pattern, lambda m: f"{m[1]}{float(m[2]) + by:.{digits}f}{m[3]}")


STATED["z_is_touched_a_millimetre_off"] = (
    more(rf"(^[(;].*set Z to )\s*{NUMBER}( mm)", 1.0), Code.STATED_ZERO)  # fmt: skip
STATED["the_stock_is_six_millimetres_shorter"] = (
    more(rf"(^[(;] ?stock:? x \S+ mm to ){NUMBER}( mm)", -6.0), Code.STATED_STOCK)  # fmt: skip
STATED["the_jaws_are_a_millimetre_higher"] = (
    more(rf"(^[(;] ?hold.* jaws up to ){NUMBER}( mm)", 1.0), Code.STATED_HOLDING)  # fmt: skip
STATED["the_clamps_reach_further"] = (
    more(rf"(^[(;] ?hold.* reaching ){NUMBER}( mm)", 4.0), Code.STATED_HOLDING)  # fmt: skip
STATED["another_tool_in_the_header"] = (
    more(rf"(^[(;] ?tool:? \d+:? .*?){NUMBER}( mm, )", 0.2), Code.STATED_TOOL)  # fmt: skip
STATED["a_tool_sticks_out_further"] = (
    more(rf"(^[(;] ?tool:? \d+.* stick-out ){NUMBER}( mm)", 5.0), Code.STATED_TOOL)  # fmt: skip
STATED["another_tool_to_fit"] = (
    more(rf"(^[(;] ?step:? 2:? fit tool ){NUMBER}( )", 1, 0), Code.STATED_TOOL)  # fmt: skip
STATED["another_tool_at_a_stop"] = (
    changed(
        r"(fit tool )(\d+)(?=[^()]*(?:\)\n\([^()]*)*\)\nM0)", lambda m: f"{m[1]}{int(m[2]) + 1}"
    ),
    Code.STATED_TOOL,
)
STATED["another_height_at_a_stop"] = (
    more(rf"(^[(;] ?start.* straight to Z ){NUMBER}( mm)", -9.0), Code.STATED_TOOL)  # fmt: skip
STATED["another_machine"] = (
    changed(r"^([(;] ?machine:? ).*?(\)?)$", lambda m: f"{m[1]}great mill{m[2]}"),
    Code.STATED_MACHINE,
)
STATED["another_material"] = (
    changed(r"^([(;] ?material:? ).*?(\)?)$", lambda m: f"{m[1]}ebony{m[2]}"),
    Code.STATED_MATERIAL,
)
STATED["another_part"] = (
    changed(
        r"^([(;] ?makes:? )(nut|saddle)", lambda m: m[1] + {"nut": "saddle", "saddle": "nut"}[m[2]]
    ),
    Code.STATED_PROGRAM,
)
STATED["another_jobs_name"] = (
    changed(r"^([(;] ?job:? )(?!digest).*?(\)?)$", lambda m: f"{m[1]}Larkfield 3{m[2]}"),
    Code.STATED_PROGRAM,
)


@stated(Code.STATED_ZERO)
def two_zeros_of_which_the_first_is_wrong(text):
    """As where the heads of two files were merged."""
    return changed(r"^[(;] ?makes", lambda m: f"(zero Set Z to 0.00 mm on the bed.)\n{m[0]}")(text)


@stated(Code.STATED_HOLDING)
def tape_alone_in_place_of_glue(text):
    return changed(r"glued or taped and glued", lambda m: "taped")(text)


@stated(Code.STATED_ZERO)
def another_side_touched(text):
    """The end that X is set against."""
    return changed(r"(\bSet X to [^()]*against the )left\b", lambda m: f"{m[1]}right")(text)


IN_A_LOAD = {
    "a_place_moved_by_two_millimetres": (
        more(rf"(^[(;] ?place:? 2 at X\S+ Y){NUMBER}( Z)", 2.0, 3), Code.STATED_ZERO),
    "a_place_moved_along_x": (
        more(rf"(^[(;] ?place:? 2 at X){NUMBER}( Y)", 2.0, 3), Code.STATED_ZERO),
    "places_further_apart": (
        more(rf"(^[(;][^\n]*\bpitch ){NUMBER}( mm)", 2.0), Code.STATED_HOLDING),
    "the_stock_reaches_further_in_y": (
        more(rf"(^[(;] ?stock.* y \S+ mm to ){NUMBER}( mm)", 3.0), Code.STATED_STOCK),
    "another_jobs_name_at_a_place": (
        changed(r"(place:? 2 at X\S+ Y\S+ Z\S+ )(.*?)(, job)", lambda m: f"{m[1]}other{m[3]}"),
        Code.STATED_ZERO),
}  # fmt: skip
"""Of what a load's program alone states."""


def places_exchanged(text):
    """Two places of a load with the digest of each other's job."""
    first, second = re.findall(r"\bjob digest ([0-9a-f]{16})\b", text)[:2]
    swap = {first: second, second: first}
    return re.sub(f"{first}|{second}", lambda m: swap[m[0]], text)


IN_A_LOAD["another_jobs_part_at_a_place"] = (places_exchanged, Code.STATED_ZERO)
