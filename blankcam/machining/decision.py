"""What process planning decides: who makes each feature, with what tool, and why."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum

from blankcam.faults import Fault
from blankcam.inputs.tool import Tool
from blankcam.parts.frames import Box
from blankcam.parts.part import Feature


class ReasonCode(StrEnum):
    """What a reason says; its words are made in the outputs."""

    LARGEST_BALL = "largest ball"
    """That fits a slot: ``limit``, ``flutes``, ``depth``, and ``opened``, 0 or 1."""
    LARGEST_TIP = "largest tip"
    """Of a tapered ball; the same values."""
    OPENED_FOR_SPEED = "opened for speed"
    FEWER_TOOLS = "fewer tools"
    """A larger one fits, ``tool``, ``edge``: its change takes longer than it saves."""
    LEFT_BY_JOB = "left by the job"
    HAND_BY_JOB = "hand by job"
    THIN_ENOUGH = "thin enough"
    """A blank that is within its fit already."""
    LARGEST_FLAT = "largest flat"
    """``need``: how deep it must reach."""
    LARGEST_REACHING = "largest reaching"
    """The largest tool for a top or a crown; ``need``."""
    NONE_REACHES = "none reaches"
    """No tool for a top or a crown; ``need``."""
    NO_FLAT = "no flat"
    """``need``: how deep a flat tool must reach."""
    NO_BALL = "no ball"
    ALL_TOO_WIDE = "all too wide"
    """``least``: the smallest tool, ``width``: the slot's, ``room``."""
    ONLY_NICKS = "only nicks"
    """A vee, ``tool``."""
    TOO_SMALL = "too small"
    """``tool``, ``shape``, ``edge``, ``least``; like those below, why one tool is passed over."""
    FLAT_FLOOR = "flat floor"
    """``high``: how high it would leave the middle of a round floor."""
    SHORT_REACH = "short reach"
    """``reach``, ``need``."""
    WIDE_CONE = "wide cone"
    """``widens``: a side; ``deepest``: the depth that it would do for."""
    SHORT_FLUTES = "short flutes"
    """``flutes``, ``depth``."""
    STEPPED = "stepped"
    """A flat tool makes a top or a crown in steps: ``need``, and the ``ridge`` it leaves."""
    TOO_FAST = "too fast"
    TOO_SLOW = "too slow"
    """``tool``; ``speed`` at the spindle's slowest, ``most`` that the material bears, m/min."""
    TOO_WEAK = "too weak"
    """``tool``; ``depth``, all that the machine's force and power leave it."""
    ROUND_CORNERS = "round corners"
    """``tool``; the ``radius`` it would leave in a step's corners, ``room`` for one."""
    TOO_LIMBER = "too limber"
    """``tool``; the ``depth`` that it may cut at once without bending."""
    COARSE_STEPS = "coarse steps"
    """``tool``; the ``ridge`` that a flat tool would leave at best."""
    BRIDGES_HOLLOW = "bridges hollow"
    """``tool``; a ball too large for a hollow of a top that goes from string to string."""
    AGAINST_LIMIT = "against limit"
    """Of the holding or the machine, as the fault says: ``key``, ``wrong``, ``fix``."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reason:
    """One reason as values; lengths in mm."""

    code: ReasonCode
    values: Mapping[str, float | int | str] = field(default_factory=dict)

    @classmethod
    def about(cls, tool: Tool, code: ReasonCode, **values: float) -> Reason:
        """Why one tool is passed over."""
        named: dict[str, float | int | str] = {
            "tool": tool.number,
            "shape": str(tool.shape),
            "edge": tool.edge,
        }
        return cls(code=code, values=named | values)

    @classmethod
    def of_limit(cls, fault: Fault) -> Reason:
        """Why a limit of the holding or the machine leaves one feature to the hand."""
        found = "" if fault.found is None else f" {fault.found}"
        values = {"key": f"{fault.key}{found}", "wrong": fault.wrong, "fix": fault.fix}
        return cls(code=ReasonCode.AGAINST_LIMIT, values=values)


@dataclass(frozen=True, slots=True, kw_only=True)
class Opening:
    """How the waste over a slot is opened before the slot is cut."""

    tool: Tool
    narrow: bool
    """Only as wide as the slot needs, for speed; else so wide that the tool's shank has room."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ByMachine:
    """A feature that the machine makes."""

    tool: Tool
    depth: float = 0.0
    """How deep the tool goes below what stands when it starts, mm."""
    reach: Box | None = None
    """Where its tip and axis go, in its set-up's axes; None until the set-up is known."""
    opening: Opening | None = None
    """Of a slot: how the waste over it is opened first; None where it is not."""
    ridge: float = 0.0
    """mm that its passes leave standing at most for the hand to take off."""


class HandStepKind(StrEnum):
    """What a hand does; its words are made in the outputs."""

    RUB = "rub to thickness"
    """``to``: the finished thickness."""
    LENGTH = "to length"
    """``to``: the finished length."""
    TOP = "file the top"
    """``high`` at its highest, ``raised`` of it allowance, ``tilt`` in rad, ``fall`` by it."""
    RIDGE_LINE = "mark the ridge line"
    CROWN = "file the crown"
    """``radius`` of its section."""
    ENDS = "file the ends round"
    """``radius`` in plan."""
    FRONT = "cut the front back"
    """Around a slot: ``back``, between ``left`` and ``right``, down to ``bottom`` over the seat."""
    SLOT = "file the slot"
    """``depth`` under the stage's top, ``start`` and ``final`` file in inches, 0 for a saw."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HandStep:
    """One thing that the hand does, as values; lengths in mm."""

    kind: HandStepKind
    values: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class ByHand:
    """A feature that is left to the hand."""

    steps: tuple[HandStep, ...] = ()
    """What it does, in order, with its measures; empty where there is nothing to do."""
    nick: Tool | None = None
    """Of a slot: the tool that cuts a locating nick for the file; None without one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """Who makes one feature, and why."""

    feature: Feature
    by: ByMachine | ByHand
    reasons: tuple[Reason, ...] = ()

    @classmethod
    def by_hand(cls, feature: Feature, reasons: Iterable[Reason]) -> Decision:
        """A feature left to the hand, each of the reasons once."""
        each = list[Reason]()
        each.extend(r for r in reasons if r not in each)
        return cls(feature=feature, by=ByHand(), reasons=tuple(each))

    def without_nick(self) -> Decision:
        """The decision on a slot for the file, no nick cut for it."""
        steps = self.by.steps if isinstance(self.by, ByHand) else ()
        return replace(self, by=ByHand(steps=steps))

    @property
    def reach(self) -> Box | None:
        """Where the machine's tool goes for it, in its set-up's axes."""
        return self.by.reach if isinstance(self.by, ByMachine) else None

    @property
    def tool(self) -> Tool | None:
        """The machine's tool for it; None where the hand makes it."""
        return self.by.tool if isinstance(self.by, ByMachine) else None

    @property
    def nick(self) -> Tool | None:
        """The tool of the locating nick of a slot left to the file."""
        return self.by.nick if isinstance(self.by, ByHand) else None

    @property
    def string(self) -> int:
        """The number of its string; 0 of a feature that belongs to no string."""
        return self.feature.string or 0
