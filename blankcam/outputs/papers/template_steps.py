"""The templates and gauges that a laser cuts for the bench, step by step."""

from __future__ import annotations

import math
from collections.abc import Iterator

from blankcam.inputs.machine import Profile
from blankcam.outputs.drawings.cut_files import options_for
from blankcam.outputs.drawings.gauges import SQUARE
from blankcam.outputs.figures import both
from blankcam.parts.design import Design
from blankcam.parts.part import Part

MARKED = {"nut": ("marks", "centres", "slots"), "saddle": ("centres",)}


def steps(design: Design, profile: Profile) -> Iterator[str]:
    """From the sheet of card to what the bench marks and tries with."""
    names = _names(profile)
    yield (
        "**Stock**: card, wood or acrylic, flat and clean; never the blank, which is worked by "
        "hand."
    )
    square = names.get("test square")
    if square:
        yield (
            f"**Kerf**: cut `{square}` of `nut.dxf` first and measure it: {both(SQUARE)} less its "
            f"width is the kerf. If it is not {both(profile.kerf, 3)}, write yours into the profile "
            "and make again."
        )
    for part in design.parts:
        yield f"**Cut `{part.name}.dxf`**: {_work(part.name, names, profile)}. It holds {_held(part)}."
    yield (
        "**Try them**: measure the length of each template; write the part's name and its left "
        "end on it."
    )


def _names(profile: Profile) -> dict[str, str]:
    """The layers in the file by what they hold."""
    rules = options_for(profile).layers or ()
    return {r.holds: r.name for r in rules if r.work != "omit"}


def _work(part: str, names: dict[str, str], profile: Profile) -> str:
    marked = [f"`{names[held]}`" for held in MARKED[part] if held in names]
    mark = f"mark {', '.join(marked)}, then " if marked else ""
    if profile.kerf and "kerf" in names:
        return f"{mark}cut `{names['kerf']}`, the laser's own kerf setting at zero"
    cut = [f"`{names[held]}`" for held in ("rough", "outline", "gauges") if held in names]
    return f"{mark}cut {', '.join(cut)}"


def _held(part: Part) -> str:
    """Which templates and gauges a part's drawing has, and what each is for."""
    template = f"the {part.name} template, its outline with the top line, to scribe round"
    radius = part.top_radius
    held = [template]
    if part.slots:
        held.append("the slot gauge, a strip with a notch (or a line) at every slot's centre")
    if radius is not None and not math.isinf(radius):
        held.append(f"a hollow gauge of radius {both(radius)} to hold over the top")
        held.append("a round one to wrap abrasive paper on, or for a caul")
    return "; ".join(held)
