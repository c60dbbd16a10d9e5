"""A strict reader of RS274/NGC programs: text in, moves and findings out, never an exception.

It knows the standard (NISTIR 6556, Kramer, Proctor, Messina 2000; sections named below), the
subset that plain streaming controllers also take, and what the machine's profile allows beyond
it. It refuses more than the standard does wherever a program could be read in two ways.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

import numpy as np

from blankcam.inputs.machine import PlanPosition, Profile, ToolChange
from blankcam.replay import arcs
from blankcam.replay.codes import Code
from blankcam.replay.events import Event, EventKind
from blankcam.replay.findings import Collector, Finding
from blankcam.replay.line import LINE_LIMIT, Block, parse_block, without_comments
from blankcam.replay.modal_groups import G_GROUP, G_REFUSED, M_GROUP, M_REFUSED, MACHINE, USES
from blankcam.replay.motions import PLANE_AXES, Moves

INCH = 25.4
COMMENTS_KEPT = 500
LINES_READ = 2_000_000
FAULTS_READ = 20_000
"""After so many faults the rest is not read: the file is not a program."""

REALTIME = re.compile(r"[?!~]")
CONTROL = re.compile(rb"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")
BYTE_ORDER_MARK = b"\xef\xbb\xbf"
NOT_ASCII = "\ufffd"
"""What a byte outside ASCII is read as."""
STATES = {
    "plane": "G17, G18 or G19",
    "distance": "G90 or G91",
    "feed mode": "G94",
    "cutter compensation": "G40",
    "coordinates": "G54",
    "length offset": "G49 or G43",
    "path": "G61 or G64 P",
}
"""Modal groups that the program itself must set before its first move, and how."""
AXES = "XYZ"
NEAR = 0.01
"""mm by which a printed place may miss the profile's."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ParsedProgram:
    """A program as read: its text, moves and findings."""

    name: str
    text: str
    """The whole text, bytes outside ASCII replaced."""
    lines: tuple[str, ...]
    comments: tuple[str, ...]
    moves: Moves
    events: tuple[Event, ...]
    """Stops, tool changes, dwells and changes of the spindle, in order."""
    findings: tuple[Finding, ...]
    counts: dict[Code, int]
    """How many findings of each code there are; only the first of each are kept."""
    units: str
    blending: float
    """The largest G64 P, mm; 0 without."""


def lines_of(text: str) -> list[str]:
    """The lines of a text, whether they end in CR, LF or both (NISTIR 6556 §3.3)."""
    return text.replace("\r\n", "\n").replace("\r", "\n").split("\n")


def read_program(
    data: bytes | str, profile: Profile, *, name: str = "", air: bool = False
) -> ParsedProgram:
    """Read a program for a machine; ``air``: it is to go round in the air with the spindle off.

    Never raises for what the text holds; every fault is a finding with its line. Positions come
    back in millimetres in the program's own zero, whatever its units.
    """
    raw = data.encode("utf-8", "surrogatepass") if isinstance(data, str) else data
    raw = raw.removeprefix(BYTE_ORDER_MARK)
    reader = _Reader(profile, name, air=air)
    text = raw.decode("ascii", "replace")
    lines = lines_of(text)
    if match := CONTROL.search(raw):
        at = len(lines_of(text[: match.start()]))
        reader.found.add(Code.BYTES, "a control character in the text", line=at,
                         value=f"0x{match[0][0]:02x}")  # fmt: skip
    for number, line in enumerate(lines[:LINES_READ], 1):
        reader.take(number, line)
        if reader.faults > FAULTS_READ:
            reader.fault(Code.LENGTH, "too many faults: the rest is not read", float(number))
            break
    reader.finish(len(lines))
    return ParsedProgram(
        name=name,
        text=text,
        lines=tuple(lines),
        comments=tuple(reader.comments),
        moves=reader.moves(),
        events=tuple(reader.events),
        findings=tuple(reader.found.kept),
        counts=dict(reader.found.counts),
        units=reader.units or "mm",
        blending=reader.blending,
    )


class _Reader:
    """The modal state of the machine while a program is read."""

    def __init__(self, profile: Profile, name: str, *, air: bool) -> None:
        self.profile, self.can, self.air = profile, profile.controller, air
        self.found = Collector(name)
        self.comments: list[str] = []
        self.number, self.text, self.faults = 0, "", 0
        self.began = self.ended = self.percent_open = self.percent_closed = False
        self.motion: int | None = None
        self.plane, self.units, self.absolute = 17, "", True
        self.at = [math.nan] * 3
        self.fresh, self.aloft = True, False
        self.spot: dict[str, float] = {}
        self.feed = self.speed = 0.0
        self.spindle, self.coolant = 0, False
        self.tool = self.wanted = 0
        self.offset_set, self.offset_tool = False, 0
        self.blending = 0.0
        self.told: set[Code] = set()
        self.rows: list[tuple[float, ...]] = []
        self.events: list[Event] = []
        self.set_here: set[str] = set()
        self.needed = set(STATES) - (set() if self.can.path_blending else {"path"})

    # -- lines ------------------------------------------------------------------------------

    def fault(self, code: Code, what: str, value: float | str | None = None,
              limit: float | str | None = None) -> None:  # fmt: skip
        self.faults += 1
        self.found.add(code, what, line=self.number, text=self.text, value=value, limit=limit)

    def take(self, number: int, text: str) -> None:
        """Read one line and carry it out."""
        self.number, self.text = number, text
        stripped = text.strip(" \t")
        if not stripped:
            return
        text = text.rstrip(" \t")
        if len(text) > min(self.can.line_length, LINE_LIMIT):
            self.fault(Code.LENGTH, "line too long", float(len(text)),
                       float(min(self.can.line_length, LINE_LIMIT)))  # fmt: skip
        self._characters(text)
        if stripped == "%":
            self._percent()
        elif self.ended or self.percent_closed:
            if without_comments(stripped).strip():
                self.fault(Code.AFTER_END, "after the end of the program: never read by a machine")
        elif len(text) <= LINE_LIMIT:
            self._block(stripped)

    def _characters(self, text: str) -> None:
        """Fault what a controller may act on while the line is still on its way.

        A streaming controller takes ? ! ~ and bytes from 0x80 on out of the stream and obeys them,
        comments included; one that changes tools or knows their lengths reads whole lines.
        """
        if REALTIME.search(text):
            self.fault(Code.REALTIME, "? ! ~ are commands to a streaming controller, even here")
        if NOT_ASCII in text:
            streams = not (self.can.length_offsets or self.can.tool_change is ToolChange.AUTOMATIC)
            if NOT_ASCII in without_comments(text):
                self.fault(Code.BYTES, "a letter outside ASCII, not in a comment")
            elif streams:
                self.fault(Code.REALTIME, "a letter outside ASCII: a streaming controller may "
                           "obey its bytes, even in a comment")  # fmt: skip

    def _percent(self) -> None:
        if not self.can.percent:
            self.fault(Code.PERCENT, "this machine takes no % line")
        elif not self.began:
            self.began = self.percent_open = True
        elif self.percent_open and not self.percent_closed:
            self.percent_closed = True
        else:
            self.fault(Code.PERCENT, "% may only be the first and the last line")

    def _block(self, text: str) -> None:
        self.began = True
        if text.startswith("/"):
            self.fault(Code.BLOCK_DELETE, "a switch on the machine decides whether a / line runs")
            text = text[1:]
        read = parse_block(text)
        if len(self.comments) < COMMENTS_KEPT:
            self.comments.extend(read.comments)
        for code, what in read.faults:
            self.fault(code, what)
        if read.g or read.m or read.words:
            groups = self._groups(read)
            self._unused(read, groups)
            self._execute(read, groups)

    def _groups(self, read: Block) -> dict[str, int]:
        """The line's codes by modal group; G motion 0, plane 170, …"""
        groups: dict[str, int] = {}
        for sign, codes, table, code in (
            ("G", read.g, G_GROUP, Code.G_CODE),
            ("M", read.m, M_GROUP, Code.M_CODE),
        ):
            for value in codes:
                group = table.get(value)
                shown = f"{sign}{value / 10:g}" if sign == "G" else f"M{value}"
                if group is None:
                    self.fault(code, f"no such code: {shown}")
                elif group in groups:
                    self.fault(Code.MODAL_GROUP, f"two codes of the {group} group on one line")
                else:
                    groups[group] = value
        return groups

    def _unused(self, read: Block, groups: dict[str, int]) -> None:
        """Fault words that no code of the line uses: the standard's Table 5 and error texts."""
        motion = groups.get("motion", self.motion)
        has = {
            "arc": motion in (20, 30) and any(a in read.words for a in "XYZIJKR"),
            "wait": groups.get("one-shot") == 40 or groups.get("path") == 640,
            "length offset": groups.get("length offset") == 430,
        }
        for letter in read.words:
            if letter in "ABCDLQ" or (letter in USES and not has[USES[letter]]):
                self.fault(Code.UNUSED, f"nothing on this line uses its {letter} word")

    # -- execution, in the order of Table 8 ---------------------------------------------------

    def _execute(self, read: Block, groups: dict[str, int]) -> None:
        words = read.words
        self.set_here |= groups.keys()
        if "feed mode" in groups:
            self._refuse(groups["feed mode"])
        if "F" in words:
            self._set_feed(words["F"], groups)
        if "S" in words:
            self._set_speed(words["S"])
        if "T" in words:
            self._set_tool(words["T"])
        if "tool" in groups:
            self._change()
        if "spindle" in groups:
            self._set_spindle(groups["spindle"])
        if "coolant" in groups:
            self._set_coolant(groups["coolant"])
        if "overrides" in groups:
            self.fault(Code.M_CODE, f"M{groups['overrides']}: overrides are not for a program")
        if groups.get("one-shot") is not None:
            self._one_shot(groups["one-shot"], words)
        self._modes(groups, words)
        self._motion(groups, words)
        if "stop" in groups:
            self._stop(groups["stop"])

    def _refuse(self, g: int) -> None:
        if g in G_REFUSED:
            self.fault(Code.G_CODE, f"G{g / 10:g}: {G_REFUSED[g]} can't be proven here")

    def _set_feed(self, value: float, groups: dict[str, int]) -> None:
        unit = "inch" if groups.get("units") == 200 else "mm"
        if "units" in groups and self.units != unit:
            self.fault(Code.UNITS, "F is read before the units of its own line are set")
        if value <= 0:
            self.fault(Code.NO_FEED, "a feed must be more than 0", value, 0.0)
        self.feed = value * self.scale
        self.told.discard(Code.NO_FEED)

    def _set_speed(self, value: float) -> None:
        if value < 0:
            self.fault(Code.SPEED, "negative spindle speed", value, 0.0)
        if self.spindle and value != self.speed:
            self._event(EventKind.SPEED)
        self.speed = value
        self.told -= {Code.SPINDLE, Code.SPEED}

    def _set_tool(self, value: float) -> None:
        if value != round(value) or value < 0:
            self.fault(Code.TOOL, "a tool number is a whole number", value)
        self.wanted = round(value)
        if self.profile.tool(self.wanted) is None:
            self.fault(Code.TOOL, "the machine has no such tool", f"T{self.wanted}")
        change = self.can.tool_change
        if change is not ToolChange.AUTOMATIC and not self.tool:
            self.tool = self.wanted
        elif change is ToolChange.FILE and self.wanted != self.tool:
            self.fault(Code.CHANGE, "this machine takes one tool a file")

    def _change(self) -> None:
        if self.can.tool_change is not ToolChange.AUTOMATIC:
            self.fault(Code.PROFILE, "this machine has no M6")
            return
        if self.spindle:
            self.fault(Code.CHANGE, "tool change before the spindle is stopped")
        self._event(EventKind.CHANGE)
        if not self.wanted:
            self.fault(Code.TOOL, "M6 without a T word before it")
        self._check_change_place()
        self.tool, self.spindle, self.offset_set = self.wanted, 0, False  # §3.6.3
        self._lose_place()
        self.told.clear()

    def _set_spindle(self, m: int) -> None:
        turns = {3: 1, 4: -1, 5: 0}[m]
        if turns and self.air:
            self.fault(Code.AIR, "the spindle is started in an air program")
        if turns != self.spindle:
            self._event(EventKind.START if turns else EventKind.SPINDLE_STOP)
        self.spindle = turns
        self.told -= {Code.SPINDLE, Code.SPEED}
        if m == 4:
            self.fault(Code.SPINDLE, "M4 turns a right-hand cutter backwards")
        if m == 3 and self.speed <= 0:
            self.fault(Code.SPEED, "M3 without a speed", self.speed)

    def _set_coolant(self, m: int) -> None:
        allowed = {"none": (9,), "mist": (7, 9), "flood": (8, 9)}.get(self.can.coolant, (9,))
        if m not in allowed:
            self.fault(Code.PROFILE, f"this machine has no M{m}")
        self.coolant = m != 9

    def _one_shot(self, g: int, words: dict[str, float]) -> None:
        if g == 40:
            if words.get("P", -1.0) < 0:
                self.fault(Code.MISSING, "G4 needs a P of seconds, not negative")
            self._event(EventKind.DWELL, max(words.get("P", 0.0), 0.0))
        else:
            self._refuse(g)

    def _modes(self, groups: dict[str, int], words: dict[str, float]) -> None:
        if "plane" in groups:
            self.plane = groups["plane"] // 10
        if "units" in groups:
            self._set_units("inch" if groups["units"] == 200 else "mm")
        for group in ("cutter compensation", "coordinates", "return"):
            if group in groups:
                self._refuse(groups[group])
        if "length offset" in groups:
            self._set_offset(groups["length offset"], words)
        if "path" in groups:
            self._set_path(groups["path"], words)
        if "distance" in groups:
            self.absolute = groups["distance"] == 900

    def _set_units(self, units: str) -> None:
        if self.units != units and (self.rows or self.units):
            self.fault(Code.UNITS, "units are set once, before the first move")
        if units != self.can.units:
            self.fault(Code.UNITS, f"programs for this machine are in {self.can.units}", units)
        if self.blending and self.units and units != self.units:
            self.fault(Code.UNITS, "the G64 P before it was in other units")
        self.units = units

    def _set_offset(self, g: int, words: dict[str, float]) -> None:
        if g == 490:
            self.offset_set = False
            return
        if not self.can.length_offsets:
            self.fault(Code.PROFILE, "this machine has no length offsets")
        number = words.get("H")
        if number is None or number != round(number) or number < 0:
            self.fault(Code.MISSING, "G43 needs a whole H")
        elif round(number) != self.tool:
            self.fault(Code.OFFSET, "length offset of another tool", number, float(self.tool))
        self.offset_set = True
        self.told.discard(Code.OFFSET)

    def _set_path(self, g: int, words: dict[str, float]) -> None:
        if g == 611:
            self._refuse(g)
        if g == 640:
            if not self.can.path_blending:
                self.fault(Code.PROFILE, "this machine has no G64")
            if words.get("P", -1.0) < 0:
                self.fault(Code.MISSING, "G64 without P rounds corners without bound")
            self.blending = max(self.blending, words.get("P", 0.0) * self.scale)

    def _stop(self, m: int) -> None:
        if m in M_REFUSED:
            self.fault(Code.M_CODE, f"M{m}: {M_REFUSED[m]} is not for a program to be proven")
        elif m == 0:
            self._event(EventKind.STOP)
            if self.spindle:
                self.fault(Code.CHANGE, "M0 while the spindle turns")
            if self.can.tool_change is ToolChange.STOP and self.wanted != self.tool:
                self._check_change_place()
                self.tool = self.wanted
                self._lose_place()
        else:
            self.ended = True
            self._check_rest(self.profile.safe_places.park, "the end away from the place to park")
            self._event(EventKind.END)
            if self.spindle:
                self.fault(Code.END_STATE, "the spindle still turns at the end")
            if self.coolant:
                self.fault(Code.END_STATE, "the coolant still runs at the end")

    # -- safe places ------------------------------------------------------------------------

    def _lose_place(self) -> None:
        """After a change of tool the machine may stand anywhere: a hand or a changer moved it."""
        self.at, self.fresh, self.aloft, self.spot = [math.nan] * 3, True, False, {}

    def _check_change_place(self) -> None:
        self._check_rest(self.profile.safe_places.change, "a tool change away from its place")

    def _check_rest(self, place: PlanPosition | None, what: str) -> None:
        """Fault a stay away from a place of the profile, where the machine has coordinates."""
        if not self.can.machine_coordinates:
            return
        if not self.aloft:
            self.fault(Code.REST_PLACE, f"{what}: not up at the machine's safe height")
        elif place is not None:
            for axis, wanted in (("X", place.x), ("Y", place.y)):
                there = self.spot.get(axis, math.nan)
                if not abs(there - wanted) <= NEAR:
                    self.fault(Code.REST_PLACE, f"{what}, machine {axis}", there, wanted)

    def _machine_move(self, words: dict[str, float]) -> None:
        """A move in machine coordinates: up to the safe height, or across at it."""
        if not self.can.machine_coordinates:
            self.fault(Code.PROFILE, "this machine has no machine coordinates to move in (G53)")
        elif self.motion != 0 or not self.absolute:
            self.fault(Code.MACHINE_MOVE, "a move in machine coordinates must be a rapid, in G90")
        elif "Z" in words and ("X" in words or "Y" in words):
            self.fault(Code.MACHINE_MOVE, "up and across in one move: first up, then across")
        to = {a: words[a] * self.scale for a in AXES if a in words}
        places = self.profile.safe_places
        for axis, value in to.items():
            low, high = (getattr(ends, axis.lower()) for ends in (places.low, places.high))
            if not low - NEAR <= value <= high + NEAR:
                self.fault(Code.TRAVEL, f"outside the machine's travel of {axis}, mm", value,
                           f"{low:g} to {high:g}")  # fmt: skip
        if "Z" in to:
            self.aloft = to["Z"] >= places.height - NEAR
            if not self.aloft:
                self.fault(Code.MACHINE_MOVE, "lower than the machine's safe height, mm", to["Z"],
                           places.height)  # fmt: skip
        elif not self.aloft:
            self.fault(Code.MACHINE_MOVE, "across in machine coordinates before the tool is up at "
                       "the safe height")  # fmt: skip
        self.fresh = False
        self.spot |= {a: v for a, v in to.items() if a != "Z"}
        end = [math.nan if a in to else v for a, v in zip(AXES, self.at, strict=True)]
        self._keep(0, end, (0.0, 0.0, 0.0))

    def _first_move(self, given: list[str]) -> None:
        """Fault a first move, or one after a change, that is not straight up to safety."""
        if not self.fresh:
            return
        self.fresh = False
        if self.can.machine_coordinates:
            self.fault(Code.FIRST_MOVE, "the first move is not up to the machine's safe height, "
                       f"G53 G0 Z{self.profile.safe_places.height / self.scale:g}")  # fmt: skip
        elif given != ["Z"]:
            self.fault(Code.FIRST_MOVE, "the first move is not in Z alone: first up, then across")

    def _come_down(self, end: list[float], given: list[str]) -> None:
        """Fault a way down from the safe height over a place that the program has not set."""
        if self.aloft and "Z" in given:
            self.aloft = False
            if any(math.isnan(v) for v in end[:2]):
                self.fault(Code.MACHINE_MOVE, "down from the safe height over a place that the "
                           "program has not set")  # fmt: skip

    # -- moves ------------------------------------------------------------------------------

    @property
    def scale(self) -> float:
        return INCH if self.units == "inch" else 1.0

    def _motion(self, groups: dict[str, int], words: dict[str, float]) -> None:
        if "motion" in groups:
            self.motion = groups["motion"]
            if self.motion in G_REFUSED:
                self._refuse(self.motion)
        given = [a for a in AXES if a in words]
        if not given:
            if groups.get("motion") in (0, 10, 20, 30):
                self.fault(Code.MISSING, "a move needs an X, Y or Z")
            return
        if groups.get("one-shot") in G_REFUSED or self.motion in G_REFUSED:
            return
        if self.motion in (None, 800):
            self.fault(Code.NO_MOTION, "X, Y or Z while no motion is in force")
            return
        if groups.get("one-shot") == MACHINE:
            self._modal_state()
            self._machine_move(words)
            return
        end = self._target(words)
        self._first_move(given)
        self._come_down(end, given)
        for axis in given:
            self.spot.pop(axis, None)
        self._state(end)
        if self.motion in (20, 30):
            self._arc(end, words)
        else:
            self._keep(self.motion // 10 if self.motion else 0, end, (0.0, 0.0, 0.0))

    def _target(self, words: dict[str, float]) -> list[float]:
        end = list(self.at)
        for i, axis in enumerate(AXES):
            if axis in words:
                step = words[axis] * self.scale
                end[i] = step if self.absolute else self.at[i] + step
        return end

    def _once(self, code: Code, what: str, value: float | str | None = None,
              limit: float | str | None = None) -> None:  # fmt: skip
        """A fault of state: reported once, and again only after that state was set again."""
        if code not in self.told:
            self.told.add(code)
            self.fault(code, what, value, limit)

    def _modal_state(self) -> None:
        """Fault what is not set before any move, also one in machine coordinates."""
        if missing := [STATES[g] for g in STATES if g in self.needed - self.set_here]:
            self._once(Code.STATE, f"a move before the program sets {', '.join(missing)}")
        if not self.units:
            self._once(Code.UNITS, "a move before G20 or G21")
        if self.air and "spindle" not in self.set_here:
            self._once(Code.AIR, "an air program moves before M5: the spindle may still turn")

    def _state(self, end: list[float]) -> None:
        """Fault what is not set before a move in the program's coordinates, or one at feed."""
        self._modal_state()
        if not self.tool:
            self._once(Code.TOOL, "a move before any tool is named")
        if self.can.length_offsets and not self.offset_set:
            self._once(Code.OFFSET, "a move before G43 sets the tool's length")
        if self.motion == 0:
            if math.isnan(end[2]) and not self.aloft:
                self._once(Code.START, "a move across before any height is known")
            return
        if any(math.isnan(v) for v in self.at):
            self._once(Code.START, "a cutting move from a place that is not known")
        if self.feed <= 0:
            self._once(Code.NO_FEED, "a cutting move without a feed", self.feed, 0.0)
        if not self.spindle:
            self._once(Code.SPINDLE, "a cutting move while the spindle is stopped")
        low, high = self.profile.spindle_min, self.profile.spindle_max
        if not low <= self.speed <= high or self.speed <= 0:
            self._once(Code.SPEED, "spindle speed outside the machine's range", self.speed,
                       f"{low:g} to {high:g}")  # fmt: skip

    def _event(self, kind: EventKind, seconds: float = 0.0) -> None:
        at = (self.at[0], self.at[1], self.at[2])
        self.events.append(Event(kind=kind, line=self.number, moves=len(self.rows), at=at,
                                 tool=self.tool, seconds=seconds))  # fmt: skip

    def _keep(self, kind: int, end: list[float], centre: tuple[float, float, float]) -> None:
        self.rows.append((self.number, kind, self.plane, *self.at, *end, *centre, self.feed,
                          self.speed, self.spindle, self.tool, self.aloft))  # fmt: skip
        self.at = end

    def _arc(self, end: list[float], words: dict[str, float]) -> None:
        a, b, _ = PLANE_AXES[self.plane]
        if f"G{self.plane}" not in self.can.arc_planes:
            self.fault(Code.ARC_PLANE, f"this machine takes no arcs in G{self.plane}")
        if not (AXES[a] in words or AXES[b] in words):
            self.fault(Code.ARC_FORM, "an arc needs an end in its own plane")
        elif math.isclose(end[a], self.at[a], abs_tol=1e-9) and math.isclose(
            end[b], self.at[b], abs_tol=1e-9
        ):
            self.fault(Code.ARC_CIRCLE, "an arc that ends where it starts is a full circle")
        else:
            ask = arcs.ArcWords(
                start=(self.at[a], self.at[b]),
                end=(end[a], end[b]),
                words={k: words[k] * self.scale for k in "IJKR" if k in words},
                names=("IJK"[a], "IJK"[b]),
                ccw=self.motion == 30,
                unit=self.scale,
            )
            centre = arcs.arc_centre(ask)
            if not isinstance(centre, arcs.ArcFault):
                middle = {a: centre[0], b: centre[1]}
                places = (middle.get(0, 0.0), middle.get(1, 0.0), middle.get(2, 0.0))
                self._keep(self.motion // 10 if self.motion else 0, end, places)
                return
            self.fault(centre.code, centre.what, centre.value, centre.limit)
        self.at = end

    def finish(self, lines: int) -> None:
        """Fault what can be known only at the end of the file."""
        self.number, self.text = lines, ""
        if lines > LINES_READ:
            self.fault(Code.LENGTH, "more lines than are read", float(lines), float(LINES_READ))
        if not self.ended:
            self.fault(Code.NO_END, "no M2 or M30: is the file whole?")
        if self.percent_open and not self.percent_closed:
            self.fault(Code.PERCENT, "the second % is missing")
        if self.can.percent and not self.percent_open:
            self.fault(Code.PERCENT, "this machine wants % first and last")
        if self.air:
            if any(row[1] for row in self.rows):
                self.fault(Code.AIR, "a move at feed in an air program")
        elif not any(row[1] for row in self.rows):
            self.fault(Code.NO_MOVES, "no cutting move in the whole program")

    def moves(self) -> Moves:
        """All moves read so far, as arrays."""
        table = np.array(self.rows, dtype=float).reshape(-1, 17)
        whole = {"line": 0, "kind": 1, "plane": 2, "spindle": 14, "tool": 15, "aloft": 16}
        return Moves(
            **{k: table[:, c].astype(np.int64) for k, c in whole.items()},
            start=table[:, 3:6],
            end=table[:, 6:9],
            centre=table[:, 9:12],
            feed=table[:, 12],
            speed=table[:, 13],
        )
