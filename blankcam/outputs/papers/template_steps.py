"""The templates and gauges that a laser cuts for the bench, step by step."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from blankcam.inputs.layers import LayerRule
from blankcam.inputs.machine import Profile
from blankcam.outputs.drawings.cut_files import options_for
from blankcam.outputs.drawings.gauges import SQUARE
from blankcam.outputs.figures import both
from blankcam.parts.design import Design
from blankcam.parts.part import Part


def steps(design: Design, profile: Profile) -> Iterator[str]:
    """From the sheet of card to what the bench marks and tries with."""
    yield (
        f"**Stock**: {profile.stock or 'card, wood or acrylic'}, flat and clean; never the blank, "
        "which is worked by hand."
    )
    rules = [r for r in options_for(profile).layers or () if r.work != "omit"]
    if any(r.holds == "test square" for r in rules):
        yield (
            f"**Kerf**: cut the test square of `{design.parts[0].name}.dxf` first and measure it: "
            f"{both(SQUARE)} less its width is the kerf. If it is not {both(profile.kerf, 3)}, "
            "write yours into the profile and make again."
        )
    for part in design.parts:
        yield f"**Cut `{part.name}.dxf`**: {_work(rules, profile)}. It holds {_held(part)}."
    alone = " and ".join(f"`{part.name}-cut.dxf`" for part in design.parts)
    yield (
        f"**For a machine that cuts every line it finds** take {alone}: the same lines to cut, and "
        "nothing else."
    )
    long = " and ".join(f"the {part.name}'s {both(part.length)}" for part in design.parts)
    yield (
        f"**Try them**: measure the length of each template, {long}; write the part's name and its "
        "left end on it."
    )


def _work(rules: Sequence[LayerRule], profile: Profile) -> str:
    """Which layers to mark and to cut, in that order."""
    named = {
        work: ", ".join(dict.fromkeys(f"`{r.name}`" for r in rules if r.work == work))
        for work in ("mark", "cut")
    }
    mark = f"mark {named['mark']}, then " if named["mark"] else ""
    zero = ", the laser's own kerf setting at zero" if profile.kerf else ""
    return f"{mark}cut {named['cut']}{zero}; the other layer is for the eye"


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
