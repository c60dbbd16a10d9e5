"""An invented bench for the proof's tests: a mill, a plain nut, and a program written by hand."""

import math
from dataclasses import dataclass, replace

import numpy as np

from blankcam.inputs.machine import Axis, Controller, Holding, MachineKind, Profile, ToolChange
from blankcam.inputs.tool import Shape, Tool
from blankcam.parts.frames import Box
from blankcam.parts.part import Feature, FeatureKind
from blankcam.parts.stage import Stage
from blankcam.replay.proof import ProgramText, Setup
from blankcam.replay.prove import prove


def tool(number, shape, diameter, **more):
    usual = {"flute_length": 4.0, "reach": 8.0, "shank": 3.0, "stick_out": 16.0}
    return Tool(number=number, shape=shape, diameter=diameter, **(usual | more))


TOOLS = (
    tool(1, Shape.FLAT, 3.0),
    tool(2, Shape.BALL, 1.0),
    tool(3, Shape.BALL, 3.0),
    tool(4, Shape.VEE, 3.0, tip_diameter=0.2, angle=60.0),
    tool(5, Shape.TAPERED_BALL, 3.0, tip_diameter=1.0, angle=20.0),
    tool(6, Shape.FLAT, 2.0, flute_length=8.0, reach=10.0),
)
HOLDING = Holding(jaw_top=3.5, jaw_length=60.0, jaw_width=20.0, bed_gap=10.0)
MILL = Profile(
    name="bench mill",
    kind=MachineKind.MILL,
    travel=Axis(x=200.0, y=100.0, z=60.0),
    feed_max=Axis(x=600.0, y=600.0, z=200.0),
    spindle_min=1000.0,
    spindle_max=10000.0,
    tools=TOOLS,
    holding=HOLDING,
    controller=Controller(arc_planes=frozenset({"G17", "G18", "G19"}), tool_change=ToolChange.STOP),
)
STOCK = Box(x0=-2.0, x1=14.0, y0=0.0, y1=5.0, z0=0.0, z1=8.0)
RADIUS = 100.0


@dataclass(frozen=True)
class Groove:
    string: int
    centre: float
    width: float = 1.0
    floor_front: float = 6.6
    tilt: float = math.radians(7)
    yaw: float = 0.0
    step: None = None
    edge: float = 0.0


class Top:
    """An arc of 100 mm about x = 6 that is 7.4 high."""

    @staticmethod
    def height(x):
        return 7.4 - RADIUS + np.sqrt(RADIUS**2 - (np.asarray(x, float) - 6.0) ** 2)


@dataclass(frozen=True)
class Nut:
    """12 mm long, 5 mm thick; top an arc of 100 mm about x = 6 that is 7.4 high; two grooves."""

    slots: tuple = (Groove(1, 3.0), Groove(2, 9.0, floor_front=6.5))
    length: float = 12.0
    thickness: float = 5.0
    hold_back: float = 0.2
    allowance: float = 0.0
    top: object = Top()
    name: str = "nut"
    features: tuple = (Feature(kind=FeatureKind.TOP),)
    top_feature: FeatureKind = FeatureKind.TOP

    def at(self, stage):
        return Target(self, stage)

    def inside(self, x, y):
        return (x >= 0) & (x <= self.length) & (y >= 0) & (y <= self.thickness)

    def groove(self, slot, x, y):
        r = slot.width / 2
        off = x - slot.centre
        rise = (r - np.sqrt(np.maximum(r**2 - off**2, 0))) / math.cos(slot.tilt)
        floor = slot.floor_front - math.tan(slot.tilt) * y
        return np.where(np.abs(off) <= r, floor + rise, np.inf)

    def height(self, x, y, stage, milled):
        x, y = np.broadcast_arrays(np.asarray(x, float), np.asarray(y, float))
        z = self.top.height(x)
        for s in self.slots:
            if s.string in milled:
                raised = self.hold_back if stage is Stage.ROUGH else 0.0
                z = np.minimum(z, self.groove(s, x, y) + raised)
        return z

    def lower(self, x, y, stage):
        z = self.height(x, y, stage, {1, 2})
        return np.where(self.inside(x, y), z, -np.inf)

    def upper(self, x, y, stage, milled):
        z = self.height(x, y, stage, milled)
        return np.where(self.inside(x, y), z, np.inf)


@dataclass(frozen=True)
class Target:
    """What a stage wants of the nut."""

    part: object
    stage: Stage
    ridge: float = 0.0

    @property
    def slots(self):
        raised = self.part.hold_back if self.stage is Stage.ROUGH else 0.0
        return tuple(replace(s, floor_front=s.floor_front + raised) for s in self.part.slots)

    @property
    def top(self):
        return RaisedTop(self.part.top, self.stage.left(self.part.allowance))

    def lower(self, x, y):
        return self.part.lower(x, y, self.stage)

    def upper(self, x, y, milled):
        return self.part.upper(x, y, self.stage, milled)

    def uncut(self, x, y):
        return self.upper(x, y, frozenset())


@dataclass(frozen=True)
class RaisedTop:
    top: object
    by: float

    def height(self, x):
        return self.top.height(x) + self.by


NUT = Nut()


@dataclass(frozen=True)
class WasteNut(Nut):
    """The same with 0.4 mm of waste over its top in stage rough, which may be opened at slots."""

    waste: float = 0.4
    beside: float = 2.0

    def lower(self, x, y, stage):
        x, y = np.broadcast_arrays(np.asarray(x, float), np.asarray(y, float))
        top = self.height(x, y, stage, set()) + (self.waste if stage is Stage.ROUGH else 0.0)
        for s in self.slots:
            opened = np.abs(x - s.centre) <= self.beside
            top = np.where(opened, self.height(x, y, stage, set()), top)
        grooves = self.height(x, y, stage, {1, 2})
        return np.where(self.inside(x, y), np.minimum(top, grooves), -np.inf)

    def upper(self, x, y, stage, milled):
        whole = self.height(x, y, stage, set())
        grooves = self.height(x, y, stage, milled)
        waste = self.waste if stage is Stage.ROUGH else 0.0
        z = np.where(grooves < whole, grooves, whole + waste)
        return np.where(self.inside(x, y), z, np.inf)


def slot_lines(x, front_floor, raised=0.0):
    """One groove with the 1 mm ball from the front, in steps: the ball's tip on the floor line.

    A ball along a line falling by the tilt cuts the cylinder's section
    floor + (r - sqrt(r² - dx²))/cos(tilt) when its centre runs r/cos(tilt) over the floor line,
    so its tip r (1/cos(tilt) - 1) over it.
    """
    tilt, r = math.radians(7), 0.5
    over = r * (1 / math.cos(tilt) - 1) + raised
    front, back = -1.5, 6.5
    lines = []
    for step in (0.4, 0.2, 0.0):
        z = [front_floor + over + step - math.tan(tilt) * y for y in (front, back)]
        lines += [
            f"G0 X{x:.4f} Y{front:.4f}",
            "G0 Z9.0000",
            f"G1 Z{z[0]:.4f} F100",
            f"G1 Y{back:.4f} Z{z[1]:.4f} F200",
            "G0 Z13.0000",
        ]
    return lines


def edge_program(raised=0.0, waste=0.0, clear=(), grooves=None):
    """Top arc with the 3 mm ball tool in G18 passes across y, then both grooves.

    ``waste`` stands over the top but along ``clear``, (x, tip's height) each; ``grooves`` are
    lines in place of both grooves' own.
    """
    lines = [
        "(a plain nut, on edge)",
        "G21 G17 G90 G94 G40",
        "G49",
        "G54",
        "T1",
        "G0 Z13.0000",
        "S8000 M3",
        "G4 P3",
    ]
    # A flat end of radius 1.5 on the circle: where the top rises it is the rim that reaches
    # lowest, so a flat cuts a shallow arc with an error of up to slope * 1.5; hence ball 3.
    lines[4] = "T3"
    ball = 1.5
    arm = RADIUS + ball  # the ball's centre runs on the arc, its tip 1.5 under
    y = 0.0
    ends = (-3.5, 15.5)
    z = [7.4 + waste - RADIUS + math.sqrt(arm**2 - (e - 6) ** 2) - ball for e in ends]
    level = 7.4 + waste - RADIUS - ball
    while y < 5.01:
        lines += [f"G0 X{ends[0]:.4f} Y{y:.4f}", "G0 Z9.0000", f"G1 Z{z[0]:.4f} F100", "G18"]
        start = round(z[0], 4)
        lines += [
            f"G3 X{ends[1]:.4f} Z{z[1]:.4f} I{6 - ends[0]:.4f} K{level - start:.4f} F400",
            "G17",
            "G0 Z13.0000",
        ]
        y += 0.25
    for x, tip in clear:
        lines += [f"G0 X{x:.4f} Y-2.5000", "G0 Z9.0000", f"G1 Z{tip:.4f} F100", "G1 Y7.5000 F300"]
        lines += ["G0 Z13.0000"]
    lines += ["M5", "T2", "M0 (change to the 1 mm ball)", "S9000 M3", "G4 P3", "G0 Z13.0000"]
    lines += grooves or slot_lines(3.0, 6.6, raised) + slot_lines(9.0, 6.5, raised)
    return "\n".join([*lines, "M5", "M9", "M30", ""])


def prove_edge(text, *, part=NUT, stage=Stage.FINAL, profile=MILL, stock=STOCK, **more):
    more = {"milled": frozenset({1, 2}), "step": 0.05} | more
    program = ProgramText(name="nut-edge.ngc", data=text, setup=Setup.EDGE)
    return prove([program], part, stage=stage, stock=stock, profile=profile, **more)


def face_program(raised=0.3, radius=1.0, over=0.0):
    """The outline with the 2 mm flat tool, up the left end, over the top, down the right end.

    ``raised`` is how far over the part's top it is cut, ``over`` how much too far out the ends are.
    """
    middle = 7.4 - RADIUS + raised  # height of the centre of the top's arc
    corner = middle + math.sqrt(RADIUS**2 - 36)
    aside, up = radius * 6 / RADIUS, radius * math.sqrt(1 - (6 / RADIUS) ** 2)
    left, right, first, last = (
        -radius - over,
        12.0 + radius + over,
        -over - aside,
        12 + over + aside,
    )
    lines = ["G21 G17 G90 G94 G40", "G49", "G54", "T6", "G0 Z5.0000", "S8000 M3", "G4 P3"]
    for z in (-1.25, -2.5, -3.75, -5.3):
        low = -2.5 if z > -4.0 else 2.0 + radius
        lines += [
            f"G0 X{left:.4f} Y-2.5000",
            f"G1 Z{max(z, -3.75):.4f} F100",
            f"Y{low:.4f} F300",
            f"Z{z:.4f} F60",
            f"Y{corner:.4f} F300",
            f"G2 X{first:.4f} Y{corner + up:.4f} I{radius:.4f} J0",
            f"G2 X{last:.4f} Y{corner + up:.4f} I{6 - first:.4f} J{middle - corner - up:.4f}",
            f"G2 X{right:.4f} Y{corner:.4f} I{-aside:.4f} J{-up:.4f}",
            f"G1 Y{low:.4f}",
            f"Z{max(z, -3.75):.4f} F60",
            "Y-2.5000",
            "G0 Z5.0000",
        ]
    return "\n".join([*lines, "M5", "M9", "M30", ""])


def prove_both(face, edge, *, part=NUT, **more):
    more = {"milled": frozenset({1, 2}), "step": 0.05} | more
    programs = [
        ProgramText(name="nut-edge.ngc", data=edge, setup=Setup.EDGE),
        ProgramText(name="nut-face.ngc", data=face, setup=Setup.FACE),
    ]
    return prove(programs, part, stage=Stage.FINAL, stock=STOCK, profile=MILL, **more)
