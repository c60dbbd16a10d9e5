"""The words for why something is decided as it is."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from blankcam.data import table
from blankcam.machining.decision import Decision, Reason, ReasonCode
from blankcam.parts.part import FeatureKind

_TOOL = "tool {tool} ({shape} {edge:g})"
_WITH_FIGURES = {
    ReasonCode.LARGEST_BALL: "largest ball of {limit:.2f} mm or less, "
    "flutes {flutes:g} mm for {depth:.2f} mm deep",
    ReasonCode.LARGEST_TIP: "largest ball of {limit:.2f} mm or less at a tip, its cone inside the "
    "walls to {depth:.2f} mm, flutes {flutes:g} mm for {depth:.2f} mm deep",
    ReasonCode.OPENED_FOR_SPEED: "the waste over it opened first, which is quicker",
    ReasonCode.FEWER_TOOLS: "one tool change less than with tool {tool}, {edge:g} mm, which fits "
    "too",
    ReasonCode.LEFT_BY_JOB: "the job leaves the slots to the file",
    ReasonCode.HAND_BY_JOB: "the job has it done by hand",
    ReasonCode.THIN_ENOUGH: "the blank is thin enough for its fit",
    ReasonCode.LARGEST_FLAT: "largest flat tool that reaches {need:.1f} mm deep",
    ReasonCode.LARGEST_REACHING: "largest suitable tool that reaches {need:.1f} mm deep",
    ReasonCode.NONE_REACHES: "no ball tool reaches {need:.1f} mm deep",
    ReasonCode.NO_FLAT: "no flat tool reaches {need:.1f} mm deep",
    ReasonCode.NO_BALL: "the machine has no ball tool",
    ReasonCode.ALL_TOO_WIDE: "the smallest tool, {least:g} mm, is too wide: it must be {room:g} mm "
    "narrower than the slot of {width:.2f} mm",
    ReasonCode.ONLY_NICKS: "tool {tool} (vee) makes no round floor, only nicks",
    ReasonCode.TOO_SMALL: f"{_TOOL} is under {{least:g}} mm",
    ReasonCode.FLAT_FLOOR: f"{_TOOL} would leave the round floor {{high:.2f}} mm high in its "
    "middle",
    ReasonCode.SHORT_REACH: f"{_TOOL} reaches {{reach:g}} mm, {{need:.2f}} mm is needed",
    ReasonCode.WIDE_CONE: f"{_TOOL} has a cone that would widen the slot by {{widens:.3f}} mm a "
    "side; it would do for {deepest:.2f} mm deep",
    ReasonCode.SHORT_FLUTES: f"{_TOOL} has flutes of {{flutes:g}} mm for a slot {{depth:.2f}} mm "
    "deep",
    ReasonCode.STEPPED: "a flat tool cuts it in steps and leaves ridges of up to {ridge:.2f} mm to "
    "the hand",
    ReasonCode.TOO_FAST: f"{_TOOL} would run at {{speed:.0f}} m/min at the spindle's slowest, and "
    "the material bears {most:g}",
    ReasonCode.TOO_SLOW: f"{_TOOL} would be fed at {{feed:.0f}} mm/min, and under {{least:.0f}} at "
    "the spindle's speed it only rubs",
    ReasonCode.TOO_WEAK: f"{_TOOL} may cut only {{depth:.3f}} mm deep with this machine's force "
    "and power",
    ReasonCode.ROUND_CORNERS: f"{_TOOL} would leave a round of {{radius:.2f}} mm in the step's "
    "corners, and there is room for {room:.2f} mm",
    ReasonCode.TOO_LIMBER: f"{_TOOL} may cut only {{depth:.3f}} mm deep at once without bending",
    ReasonCode.BRIDGES_HOLLOW: f"{_TOOL} is too large for the hollow between two strings",
    ReasonCode.COARSE_STEPS: f"{_TOOL} would leave steps of more than {{ridge:.2f}} mm",
    ReasonCode.AGAINST_LIMIT: "{key}: {wrong}; {fix}",
}
_SIDE_ROOM: float = table("cutting")["slots"]["side_room"]
_NARROWER = (
    f"largest ball narrower than its slot by {_SIDE_ROOM:g} mm or more, with flutes longer than "
    "the slot is deep"
)
_WITHOUT_FIGURES = _WITH_FIGURES | {
    ReasonCode.LARGEST_BALL: _NARROWER,
    ReasonCode.LARGEST_TIP: f"{_NARROWER} at a tip, its cone inside the walls",
    ReasonCode.FEWER_TOOLS: "one tool change less",
    ReasonCode.ALL_TOO_WIDE: "the smallest tool, {least:g} mm, is too wide: it must be {room:g} mm "
    "narrower than the slot",
    ReasonCode.WIDE_CONE: f"{_TOOL} has a cone that would widen the slot by {{widens:.3f}} mm a "
    "side; it would do",
    ReasonCode.SHORT_FLUTES: f"{_TOOL} has flutes of {{flutes:g}} mm",
    ReasonCode.ROUND_CORNERS: f"{_TOOL} would leave a round of {{radius:.2f}} mm in the step's "
    "corners, more than there is room for",
}
_FEATURES = {
    FeatureKind.THICKNESS: "thickness",
    FeatureKind.OUTLINE: "outline",
    FeatureKind.TOP: "top",
    FeatureKind.CROWN: "crown",
    FeatureKind.ENDS: "round ends",
}
"""What the features are called that a machine was asked to make."""
_WANTED_SO = (ReasonCode.HAND_BY_JOB, ReasonCode.LEFT_BY_JOB, ReasonCode.THIN_ENOUGH)
_OPENED = ", the waste over it opened first"


def words(reasons: Iterable[Reason]) -> str:
    """All reasons with their figures."""
    return _joined(reasons, _WITH_FIGURES)


def general_words(reasons: Iterable[Reason]) -> str:
    """All reasons without the figures of one slot, so that slots made alike read alike."""
    return _joined(reasons, _WITHOUT_FIGURES)


def left_to_the_hand(part: str, decisions: Iterable[Decision]) -> Iterator[str]:
    """A sentence for each feature that the job gives to the machine and the hand must make."""
    fronts: dict[str, list[str]] = {}
    for decision in decisions:
        name, why = _FEATURES.get(decision.feature.kind), decision.reasons
        if decision.tool is not None or any(r.code in _WANTED_SO for r in why):
            continue
        if decision.feature.kind is FeatureKind.FRONT:
            fronts.setdefault(general_words(why), []).append(str(decision.string))
        elif name:
            yield f"the {part}'s {name} left to the hand: {words(why)}"
    for said, strings in fronts.items():  # strings of the same reason together
        yield f"the {part}'s front at strings {', '.join(strings)} left to the hand: {said}"


def _joined(reasons: Iterable[Reason], said: Mapping[ReasonCode, str]) -> str:
    return "; ".join(
        said[r.code].format_map(r.values) + (_OPENED if r.values.get("opened") else "")
        for r in _each_limit_once(reasons)
    )


def _each_limit_once(reasons: Iterable[Reason]) -> Iterator[Reason]:
    """The reasons; a limit that stands against one tool after another is named once."""
    named = set()
    for reason in reasons:
        key = reason.values.get("key") if reason.code is ReasonCode.AGAINST_LIMIT else None
        if key is None or key not in named:
            yield reason
        named.add(key)
