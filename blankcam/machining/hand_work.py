"""What the hand does of each feature that is left to it, with its measures."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

from blankcam.machining.decision import ByHand, Decision, HandStep, HandStepKind, ReasonCode
from blankcam.machining.files import files
from blankcam.parts.part import Feature, FeatureKind, Part
from blankcam.parts.stage import Stage


def with_steps(decision: Decision, part: Part, stage: Stage) -> Decision:
    """A decision, where the hand makes the feature with what it does."""
    if not isinstance(decision.by, ByHand):
        return decision
    if any(r.code is ReasonCode.THIN_ENOUGH for r in decision.reasons):
        return decision
    steps = tuple(_steps(decision.feature, part, stage))
    return replace(decision, by=replace(decision.by, steps=steps))


def all_by_hand(part: Part, stage: Stage) -> tuple[Decision, ...]:
    """Every feature of a part the hand's, where the bench has no machine for it."""
    kinds = (FeatureKind.WASTE,)
    features = (f for f in part.features if f.kind not in kinds)
    return tuple(with_steps(Decision(feature=f, by=ByHand()), part, stage) for f in features)


def _steps(feature: Feature, part: Part, stage: Stage) -> Iterator[HandStep]:
    kind, raised = feature.kind, part.at(stage).raised
    if kind is FeatureKind.THICKNESS:
        yield HandStep(kind=HandStepKind.RUB, values={"to": part.thickness})
    elif kind is FeatureKind.OUTLINE:
        yield HandStep(kind=HandStepKind.LENGTH, values={"to": part.length})
    elif kind is FeatureKind.ENDS:
        yield HandStep(kind=HandStepKind.ENDS, values={"radius": part.thickness / 2})
    elif kind is FeatureKind.FRONT:
        yield _front_step(feature, part)
    elif kind is FeatureKind.SLOT:
        yield _slot_step(feature, part, stage)
    elif kind in (FeatureKind.TOP, FeatureKind.CROWN):
        tilt = part.at(stage).surface.tilt
        values = {"high": part.height + raised, "raised": raised, "tilt": tilt}
        values["fall"] = math.tan(tilt) * part.thickness
        yield HandStep(kind=HandStepKind.TOP, values=values)
    if kind is FeatureKind.CROWN:
        yield HandStep(kind=HandStepKind.RIDGE_LINE)
        radius = part.at(stage).surface.section_radius
        yield HandStep(kind=HandStepKind.CROWN, values={"radius": radius})


def _front_step(feature: Feature, part: Part) -> HandStep:
    step = next(s.step for s in part.slots if s.string == feature.string)
    assert step is not None
    values = {"back": step.back, "left": step.left, "right": step.right, "bottom": step.bottom}
    return HandStep(kind=HandStepKind.FRONT, values=values)


def _slot_step(feature: Feature, part: Part, stage: Stage) -> HandStep:
    slot, target = next(s for s in part.slots if s.string == feature.string), part.at(stage)
    chosen = files(slot.width)
    values = {
        "depth": max(slot.depth_front + target.raised - target.floor_raise, 0.0),
        "start": chosen.start if chosen.fits else 0.0,
        "final": chosen.final if chosen.fits else 0.0,
    }
    return HandStep(kind=HandStepKind.SLOT, values=values)
