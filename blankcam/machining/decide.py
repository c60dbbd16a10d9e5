"""Who makes each feature of a part, with what tool and why: worked out once, without moves.

``layout`` ends here; ``toolpath.build`` turns the decisions to moves and decides nothing.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from blankcam.faults import Fault
from blankcam.inputs.tool import Tool
from blankcam.machining import thickness, tools, workholding
from blankcam.machining.decision import Decision, Reason, ReasonCode
from blankcam.machining.feeds import Work, material, plan_cut
from blankcam.machining.hand_work import with_steps
from blankcam.machining.on_edge import decide_on_edge, left_to_the_hand
from blankcam.machining.on_face import cut_out, decide_on_face
from blankcam.machining.request import CutRequest
from blankcam.machining.setup_sheet import (
    Bench,
    SetupSheet,
    set_up,
    setup_on_edge,
    setup_on_face,
)
from blankcam.machining.shaping import EdgeDecided
from blankcam.machining.steps import Steps
from blankcam.machining.surface_passes import SurfacePasses
from blankcam.parts.part import FeatureKind, Part


@dataclass(frozen=True, slots=True, kw_only=True)
class Decided:
    """All that is decided of one part."""

    request: CutRequest
    """As asked for, the jaws' height worked out; its blank is rubbed down first where the hand
    brings it to its thickness."""
    decisions: tuple[Decision, ...]
    """In working order."""
    face: Bench | None
    """The set-up on face; None where nothing is done there."""
    edge: Bench
    """The set-up on edge: what stands after the one on face."""
    surface: SurfacePasses | None
    """The passes of the top or the crown; None where no ball makes it."""
    steps: Steps | None
    """The passes of the flat tool that makes it in steps; None where none does."""
    faults: tuple[Fault, ...]
    """Why it must not or can't be cut so."""
    cautions: tuple[str, ...]

    @property
    def setups(self) -> tuple[SetupSheet, ...]:
        """How the blank is held and zeroed, in the order in which the set-ups are run."""
        face = (setup_on_face(self.face, self.tools_on(face=True)),) if self.face else ()
        if not self.cuts_on_edge:
            return face
        return (*face, setup_on_edge(self.request, self.edge, self.tools_on(face=False)))

    def tools_on(self, *, face: bool) -> list[Tool]:
        """The tools of one of the set-ups, as often as they are used."""
        there = (d for d in self.decisions if (d.feature.kind in ON_FACE) is face)
        return [t for d in there for t in (d.tool, d.nick) if t is not None]

    @property
    def cuts_on_edge(self) -> bool:
        """Whether the machine does anything to the blank on its edge."""
        return any(d.tool or d.nick for d in self.decisions if d.feature.kind not in ON_FACE)

    def by(self, *kinds: FeatureKind) -> Iterator[Decision]:
        """The decisions on features of those kinds."""
        return (d for d in self.decisions if d.feature.kind in kinds)

    def tool_for(self, kind: FeatureKind) -> Tool | None:
        """The tool of the one feature of that kind; None where the hand makes it."""
        return next((d.tool for d in self.by(kind)), None)


ON_FACE = (FeatureKind.THICKNESS, FeatureKind.OUTLINE)


def decide(request: CutRequest) -> Decided:
    """Every decision on a part, and every reason why it must not be cut so."""
    part, whole = request.part, request
    fit, unfit = _usable(request)
    milled = thickness.off(part, request.blank, request.wishes.thickness) > 0
    bench = set_up(fit, y0=0.0 if milled else request.blank.y0)
    lying = decide_on_face(fit, bench)
    thin, around = lying.decisions
    if thin.tool is None:
        blank = dataclasses.replace(request.blank, y0=max(request.blank.y0, 0.0))
        whole, fit = (dataclasses.replace(r, blank=blank) for r in (whole, fit))
    edge = cut_out(part, bench) if around.tool else bench
    standing = _on_edge(fit, edge, unfit)
    each = (*(_with(d, unfit) for d in lying.decisions), *standing.decisions)
    decisions = tuple(with_steps(d, part, request.stage) for d in each)
    machine = dataclasses.replace(request.machine, holding=standing.bench.profile.holding)
    return Decided(
        request=dataclasses.replace(whole, machine=machine),
        decisions=decisions,
        face=dataclasses.replace(lying.bench, profile=machine) if lying.bench else None,
        edge=dataclasses.replace(standing.bench, profile=machine),
        surface=standing.surface,
        steps=standing.steps,
        faults=tuple(thickness.too_thin(part, request.blank)),
        cautions=tuple(_cautions(part, decisions, bench)),
    )


def _usable(request: CutRequest) -> tuple[CutRequest, list[Reason]]:
    """The request with the tools that can cut its material on its machine, and why others can't."""
    machine, stuff = request.machine, material(request.material)
    wrong = {t.number: tools.unusable(t, stuff, machine) for t in machine.tools}
    fit = tuple(t for t in machine.tools if wrong[t.number] is None)
    usable = dataclasses.replace(request, machine=dataclasses.replace(machine, tools=fit))
    return usable, [why for why in wrong.values() if why is not None]


def _with(decision: Decision, unfit: Iterable[Reason]) -> Decision:
    """A decision, the tools that can't cut the material named where the want of one decided it."""
    if all(r.code is not ReasonCode.NO_FLAT for r in decision.reasons):
        return decision
    return dataclasses.replace(decision, reasons=(*decision.reasons, *unfit))


def _on_edge(request: CutRequest, edge: Bench, unfit: list[Reason]) -> EdgeDecided:
    """The set-up on edge; all of it the hand's where the blank can't be held so."""
    held, part = request.machine.holding, request.part
    against = workholding.edge_faults(part.name, held)
    if against:
        return left_to_the_hand(part, edge, [Reason.of_limit(f) for f in against])
    return decide_on_edge(request, edge, unfit)


def _cautions(part: Part, decisions: Sequence[Decision], bench: Bench) -> dict[str, None]:
    """What there is to tell of the tools, each once; a tool is the same in every operation."""
    said = [
        c for d in decisions if d.feature.kind in ON_FACE for c in _tool_cautions(d.tool, bench)
    ]
    if any(d.tool for d in decisions if d.feature.kind is FeatureKind.THICKNESS):
        said.append(thickness.caution(part))
    rest = [d for d in decisions if d.feature.kind not in ON_FACE]
    used = [d.tool for d in rest if not _is_slot(d)]
    used += _largest_first(d.tool for d in rest if _is_slot(d))
    used += _largest_first(d.nick for d in rest)
    said += [c for tool in used for c in _tool_cautions(tool, bench)]
    return dict.fromkeys(said)


def _largest_first(found: Iterable[Tool | None]) -> list[Tool]:
    return sorted((t for t in found if t is not None), key=lambda t: -t.diameter)


def _is_slot(decision: Decision) -> bool:
    return decision.feature.kind is FeatureKind.SLOT


def _tool_cautions(tool: Tool | None, bench: Bench) -> tuple[str, ...]:
    if tool is None:
        return ()
    return plan_cut(bench.material, tool, bench.profile, Work.SLOT).cautions
