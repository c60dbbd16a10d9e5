"""Stops, tool changes, dwells and changes of the spindle: where they may be made.

At a stop hands come near the work; the spindle coming up to speed, or a tool standing still in
the cut, marks or burns it. So all of these are to be made clear of stock and holding, and after a
start or a new speed the spindle gets the time that the machine's profile says before anything is
cut. Order of execution on a line: NISTIR 6556 Table 8 (spindle before dwell before motion, M0
last).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

import numpy as np

from blankcam.inputs.machine import Profile
from blankcam.replay.codes import Code
from blankcam.replay.events import Event, EventKind
from blankcam.replay.findings import Collector
from blankcam.replay.limits import Excess, Obstacle, report_move
from blankcam.replay.reader import ParsedProgram

HANDS = (EventKind.STOP, EventKind.CHANGE, EventKind.END)
"""Events after which a hand may come near the tool."""
TURNS = (EventKind.START, EventKind.SPEED)
"""Events after which the spindle needs its time."""
NEAR = 1e-6
"""mm; rounding of printed heights."""


def check_events(
    program: ParsedProgram, profile: Profile, around: Sequence[Obstacle], found: Collector
) -> None:
    """Fault stops in the cut, and cuts before the spindle has had its time.

    ``around`` is all that the tool must be clear of, the blank as it came among it.
    """
    for event in program.events:
        low = _depth_below_top(event, profile, around)
        if low > NEAR:
            hands = event.kind in HANDS
            what = "while the tool is not clear of stock and holding" if hands else "in the cut"
            _report(found, program, event, Code.STOP_PLACE if hands else Code.IN_CUT,
                    f"{event.kind} {what}, mm below its top", low)  # fmt: skip
    _check_spin_up(program, profile, found)


def _depth_below_top(event: Event, profile: Profile, around: Sequence[Obstacle]) -> float:
    """How far the tip is below the top of anything within the holder's radius in plan, mm."""
    x, y, z = event.at
    if not event.moves or math.isnan(z):
        return 0.0
    tool = profile.tool(event.tool)
    wide = max(profile.holder_diameter, tool.diameter if tool else 0.0) / 2
    tops = [
        o.high[2]
        for o in around
        if not _is_aside(x, o.low[0], o.high[0], wide)
        and not _is_aside(y, o.low[1], o.high[1], wide)
    ]
    return max((top - z for top in tops), default=0.0)


def _is_aside(at: float, low: float, high: float, wide: float) -> bool:
    """Whether a coordinate is farther than ``wide`` from a range; an unknown one is not."""
    return at < low - wide or at > high + wide


def _check_spin_up(program: ParsedProgram, profile: Profile, found: Collector) -> None:
    """Fault the first cut after each start or new speed without ``spin_up`` seconds of dwell."""
    starts = [i for i, e in enumerate(program.events) if e.kind in TURNS]
    cutting = np.flatnonzero(program.moves.cutting)
    for at, after in itertools.pairwise([*starts, len(program.events)]):
        start = program.events[at]
        first = cutting[np.searchsorted(cutting, start.moves) :][:1]
        if not first.size or (after < len(program.events)
                              and program.events[after].moves <= first[0]):  # fmt: skip
            continue
        dwelt = sum(
            e.seconds
            for e in program.events[at + 1 : after]
            if e.kind is EventKind.DWELL and e.moves <= first[0]
        )
        if dwelt < profile.spin_up - 1e-9:
            what = "cuts before the spindle is up to speed, s"
            excess = Excess(Code.SPIN_UP, what, dwelt, profile.spin_up)
            report_move(found, program, int(first[0]), excess)


def _report(
    found: Collector, program: ParsedProgram, event: Event, code: Code, what: str, low: float
) -> None:
    text = program.lines[event.line - 1].strip()
    found.add(code, what, line=event.line, text=text, value=low, limit=0.0)
