"""What process planning decides: who makes each feature, with what tool, and why."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

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


@dataclass(frozen=True, slots=True, kw_only=True)
class Reason:
    """One reason as values; lengths in mm."""

    code: ReasonCode
    values: Mapping[str, float | int | str] = field(default_factory=dict)


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


@dataclass(frozen=True, slots=True, kw_only=True)
class ByHand:
    """A feature that is left to the hand."""

    nick: Tool | None = None
    """Of a slot: the tool that cuts a locating nick for the file; None without one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """Who makes one feature, and why."""

    feature: Feature
    by: ByMachine | ByHand
    reasons: tuple[Reason, ...] = ()

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
        """The number of a slot's string; 0 of a feature that belongs to no string."""
        return self.feature.string or 0
