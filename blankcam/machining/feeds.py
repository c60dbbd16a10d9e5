"""Spindle speeds and feeds from the material table, lowered until every limit holds.

The formulas are those every cutter maker prints: n = 1000 Vc/(π D), Vf = n z fz,
P = ap ae Vf kc / 60000 W, F = kc ap fz for one tooth in a slot, and the cantilever's bend. Values
are taken at or under the table, never above: no correction for thin chips or outside arcs.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from blankcam.data import table
from blankcam.inputs.machine import Profile
from blankcam.inputs.tool import Shape, Tool

LEAST_CHIP: float = table("cutting")["tools"]["least_chip"]
SPEED_STEP: float = table("cutting")["tools"]["speed_step"]
STICK_OUT: float = table("cutting")["tools"]["stick_out"]


class Work(StrEnum):
    """What a pass is for."""

    SLOT = "slot"  # full width
    ROUGH = "rough"
    FINISH = "finish"


@dataclass(frozen=True, slots=True, kw_only=True)
class Pressure:
    """Specific cutting force for a chip thickness: steady h^-exponent + edge / h."""

    steady: float
    """MPa; of a 1 mm chip where there is an exponent."""
    edge: float = 0.0
    """N/mm: what the new surface takes, however thin the chip."""
    exponent: float = 0.0

    def at(self, chip: float) -> float:
        """MPa at a chip thickness of so many mm."""
        return self.steady * math.pow(chip, -self.exponent) + self.edge / chip


@dataclass(frozen=True, slots=True, kw_only=True)
class Material:
    """A row of the material table."""

    name: str
    diameters: tuple[float, ...]
    speed_max: float
    """m/min."""
    chip: tuple[float, ...]
    """mm a tooth, for each of ``diameters``."""
    depth: float
    width_rough: float
    width_finish: float
    plunge: float
    ramp: float
    """Radians."""
    pressure_low: Pressure
    pressure_high: Pressure
    """What bending, force and power are judged by."""
    pressure_source: str
    least_chip: float
    """Thinnest chip that is cut, in radii of the edge."""
    speed_min: float
    """m/min under which the edge rubs; 0 where no source gives such a speed."""
    notes: tuple[str, ...]
    source: str

    def chip_at(self, diameter: float) -> float:
        """Chip load, mm a tooth: linear between the table's diameters, proportional below them.

        Above the largest diameter it stays at the largest's value.
        """
        ds, chips = self.diameters, self.chip
        if diameter <= ds[0]:
            return chips[0] * diameter / ds[0]
        for i in range(1, len(ds)):
            if diameter <= ds[i]:
                t = (diameter - ds[i - 1]) / (ds[i] - ds[i - 1])
                return chips[i - 1] + (chips[i] - chips[i - 1]) * t
        return chips[-1]


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """How one tool is to cut in one operation; mm, mm/min, rpm, N, µm, W."""

    work: Work
    rpm: float
    surface_speed: float
    """m/min at the full diameter."""
    chip: float
    """mm a tooth, as reckoned (see ``teeth``)."""
    teeth: int
    """Teeth the feed is reckoned with."""
    feed: float
    plunge: float
    ramp: float
    """Steepest ramp, radians."""
    depth: float
    width: float
    force: float
    bend_um: float
    power: float
    limits: tuple[str, ...]
    """Which rules set the values, in words."""
    cautions: tuple[str, ...]


def material(name: str) -> Material:
    """A row of the table; a name it has not is cut as ``unknown``."""
    rows = table("materials")
    row = rows[name] if isinstance(rows.get(name), dict) else rows["unknown"]
    return Material(
        name=name,
        diameters=tuple(rows["diameters"]),
        speed_max=float(row["speed_max"]),
        chip=tuple(row["chip"]),
        depth=row["depth"],
        width_rough=row["width_rough"],
        width_finish=row["width_finish"],
        plunge=row["plunge"],
        ramp=math.radians(row["ramp"]),
        pressure_low=Pressure(**row["pressure_low"]),
        pressure_high=Pressure(**row["pressure_high"]),
        pressure_source=row["pressure_source"],
        least_chip=row["least_chip"],
        speed_min=row.get("speed_min", 0.0),
        notes=tuple(row["notes"]),
        source=row["source"],
    )


def spindle_speed(surface_speed: float, diameter: float) -> float:
    """Rpm for a surface speed in m/min and a diameter in mm: n = 1000 Vc/(π D)."""
    return 1000 * surface_speed / (math.pi * diameter)


def surface_speed(rpm: float, diameter: float) -> float:
    """m/min of a tool's edge."""
    return rpm * math.pi * diameter / 1000


def cutting_power(depth: float, width: float, feed: float, pressure: float) -> float:
    """W at the cut."""
    return depth * width * feed * pressure / 60000


def bend(force: float, length: float, diameter: float) -> float:
    """Bend of a cantilever of carbide, mm: F L³/(3 E I) with the beam 0.8 D thick."""
    return force * length**3 / (3 * _modulus() * _inertia(diameter))


def tool_bend(force: float, tool: Tool) -> float:
    """Bend at the tip of a tool with a neck, mm: the thin part to ``reach``, then the shank.

    A cone is summed up in slices, each as thick as it is there: the sum of F x² dx/(E I).
    """
    if tool.shape in (Shape.TAPERED_BALL, Shape.VEE):
        dx = tool.stick_out / 400
        slices = [(i + 0.5) * dx for i in range(400)]
        thick = [2 * tool.radius_at(x) if x < tool.reach else tool.shank for x in slices]
        soft = sum(x**2 / _inertia(d) for x, d in zip(slices, thick, strict=True))
        return force * soft * dx / _modulus()
    thin = tool.reach if tool.shank > tool.diameter else tool.stick_out
    long = max(tool.stick_out, thin)
    stiff = _modulus() * _inertia(tool.shank)
    return bend(force, thin, tool.diameter) + force * (long**3 - thin**3) / (3 * stiff)


def arc_feed(feed: float, radius: float, tool_radius: float) -> float:
    """Feed of the tool's centre inside an arc of the part: vf (Rp − r)/Rp, never less than none."""
    return feed * max(radius - tool_radius, 0.0) / radius


def cusp_flat(step: float, radius: float) -> float:
    """Height of the cusp that a ball leaves between passes on a flat, mm."""
    return radius - math.sqrt(radius**2 - step**2 / 4)


def step_flat(cusp: float, radius: float) -> float:
    """The step that leaves that cusp on a flat, mm."""
    return 2 * math.sqrt(2 * radius * cusp - cusp**2)


def cusp_crown(angle: float, radius: float, crown: float) -> float:
    """Cusp on a convex crown of that radius between passes ``angle`` apart on it, mm."""
    both = crown + radius
    return (
        both * math.cos(angle / 2)
        - math.sqrt(radius**2 - (both * math.sin(angle / 2)) ** 2)
        - crown
    )


def step_crown(cusp: float, radius: float, crown: float) -> float:
    """The step along a crown that leaves at most that cusp, mm, by bisection."""
    low, high = 0.0, 2 * math.asin(min(1.0, radius / (crown + radius)))
    for _ in range(60):
        middle = (low + high) / 2
        if cusp_crown(middle, radius, crown) <= cusp:
            low = middle
        else:
            high = middle
    return low * crown


def plan_cut(m: Material, tool: Tool, profile: Profile, work: Work) -> Cut:
    """Speeds and feeds for a tool in a material on a machine.

    Depth is lowered where the machine's force or power or, on a finishing pass, the tool's bend
    would be too much; the chip is not, so that the edge does not rub.
    """
    rules = table("materials")
    limits: list[str] = []
    rpm, why = _speed(m, tool, profile)
    limits.append(why)
    chip, teeth = m.chip_at(tool.edge), tool.flutes
    if tool.edge <= rules["runout_diameter"] and _doubtful(profile, chip):
        teeth = 1
        limits.append("as if one tooth cut: the runout is unknown or too large")
    feed, chip, why = _feed(rpm, teeth, chip, profile)
    limits.append(why)
    width = _width(m, tool, work)
    depth, why = _depth(m, tool, profile, work, chip, width, feed)
    limits.append(why)
    pressure = m.pressure_high.at(chip)
    force = pressure * depth * chip
    return Cut(
        work=work,
        rpm=rpm,
        surface_speed=surface_speed(rpm, _widest(tool)),
        chip=chip,
        teeth=teeth,
        feed=feed,
        plunge=min(m.plunge * feed, profile.feed_max.z),
        ramp=m.ramp,
        depth=depth,
        width=width,
        force=force,
        bend_um=1000 * tool_bend(force, tool),
        power=cutting_power(depth, width, feed, pressure),
        limits=tuple(limits),
        cautions=_cautions(m, tool, rpm, chip),
    )


def least_feed(cut: Cut) -> float:
    """The feed, mm/min, under which the edge would only rub, as the proof has it and a
    little more.
    """
    return LEAST_CHIP * cut.teeth * cut.rpm


def needs_spring_pass(m: Material, tool: Tool, profile: Profile, depth: float) -> bool:
    """Whether a level so deep, mm, bends the tool further than a finishing pass may.

    Its last level is then passed again at the same depth: nothing else finishes what it leaves.
    """
    return depth > plan_cut(m, tool, profile, Work.FINISH).depth


def _modulus() -> float:
    return float(table("materials")["tool_modulus"])


def _beam(diameter: float) -> float:
    return float(table("materials")["beam_factor"]) * diameter


def _inertia(diameter: float) -> float:
    return math.pi * math.pow(_beam(diameter), 4) / 64


def _doubtful(profile: Profile, chip: float) -> bool:
    share = table("materials")["runout_share"]
    return profile.runout is None or profile.runout > share * chip


def _widest(tool: Tool) -> float:
    """The widest that cuts: a tapered ball's cone three balls up, the deepest it is let down."""
    if tool.shape is Shape.TAPERED_BALL:
        return 2 * tool.radius_at(3 * tool.edge)
    return tool.edge


def _speed(m: Material, tool: Tool, profile: Profile) -> tuple[float, str]:
    wanted = spindle_speed(m.speed_max, _widest(tool))
    rpm = math.floor(min(wanted, profile.spindle_max) / SPEED_STEP) * SPEED_STEP
    if rpm < profile.spindle_min:
        return profile.spindle_min, "speed: the spindle's lowest"
    if wanted > profile.spindle_max:
        return rpm, "speed: the spindle's highest"
    return rpm, f"speed: {m.speed_max:g} m/min in {m.name}"


def _feed(rpm: float, teeth: int, chip: float, profile: Profile) -> tuple[float, float, str]:
    feed = rpm * teeth * chip
    most = min(profile.feed_max.x, profile.feed_max.y)
    if feed <= most:
        return feed, chip, "feed: chip load"
    return most, most / (rpm * teeth), "feed: the machine's highest"


def _width(m: Material, tool: Tool, work: Work) -> float:
    share = {Work.SLOT: 1.0, Work.ROUGH: m.width_rough, Work.FINISH: m.width_finish}[work]
    return share * tool.edge


def _depth(  # everything a limit can come from
    m: Material,
    tool: Tool,
    profile: Profile,
    work: Work,
    chip: float,
    width: float,
    feed: float,
) -> tuple[float, str]:
    rules = table("materials")
    small = rules["small_factor"] if tool.edge < rules["small_below"] else 1.0
    pressure = m.pressure_high.at(chip)
    per_depth = pressure * chip
    bounds = [
        (m.depth * tool.edge * small, f"depth: {m.depth * small:.2f} D in {m.name}"),
        (tool.flute_length, "depth: the flutes' length"),
        (profile.force / per_depth, "depth: the machine's force"),
        (profile.power / cutting_power(1.0, width, feed, pressure), "depth: the machine's power"),
    ]
    if work is Work.FINISH:
        most = rules["bend_max"]
        why = f"depth: the tool bends {1000 * most:g} um"
        bounds.append((most / tool_bend(per_depth, tool), why))
    return min(bounds)


def _cautions(m: Material, tool: Tool, rpm: float, chip: float) -> tuple[str, ...]:
    rules = table("materials")
    found = []
    speed = surface_speed(rpm, _widest(tool))
    if speed > m.speed_max * 1.001:
        found.append(
            f"tool {tool.number}: the spindle's slowest is {speed:.0f} m/min, {m.name} should see "
            f"at most {m.speed_max:g}; use a smaller tool or a slower spindle"
        )
    if speed < m.speed_min:
        found.append(
            f"tool {tool.number}: only {speed:.0f} m/min, under {m.speed_min:g} the edge "
            f"rubs in {m.name}; use a faster spindle or a larger tool"
        )
    least = m.least_chip * rules["edge_radius"]
    if chip < least - 1e-9:
        found.append(
            f"tool {tool.number}: chip {chip * 1000:.1f} um, under {least * 1000:.1f} "
            f"({m.least_chip:g} of the edge's radius) the edge rubs; use fewer flutes, a slower "
            "spindle or a larger tool"
        )
    if tool.stick_out > STICK_OUT * max(tool.diameter, tool.shank):
        found.append(
            f"tool {tool.number}: sticks out {tool.stick_out:g} mm, more than {STICK_OUT:g} "
            "diameters; push it further into the collet"
        )
    return tuple(found)
