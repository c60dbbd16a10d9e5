"""What is drawn of a job to look at: the page and the 1:1 sheet."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from blankcam.faults import Fault, RefusedError
from blankcam.inputs.machine import Profile
from blankcam.parts.design import Design
from blankcam.parts.stage import Stage
from blankcam.safety import notice
from blankcam.workflows.layout import slot_decisions

if TYPE_CHECKING:
    from blankcam.cut import CutResult
    from blankcam.machining.decision import Decision
    from blankcam.outputs.drawing import Drawing
    from blankcam.outputs.papers.slot_work import SlotsCut
    from blankcam.preview.page import Written


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Drafted:
    """A job as it is drawn, cut or not."""

    found: Design
    profile: Profile
    stage: Stage
    made: tuple[CutResult, ...]
    refused: tuple[Fault, ...]
    """Why nothing may be made so."""


def preview(found: Design, profile: Profile, stage: Stage, made: Sequence[CutResult]) -> bytes:
    """The preview page."""
    draft = Drafted(found=found, profile=profile, stage=stage, made=tuple(made), refused=())
    return page_of(draft)


def page_of(draft: Drafted) -> bytes:
    """The page of a draft."""
    from blankcam.preview.page import whole

    return whole(page_written(draft)).encode()


def page_written(draft: Drafted, *, watch: str = "", waiting: bool = False) -> Written:
    """The same, its frame and what its job changes apart; see ``page_data``."""
    from blankcam.preview.page import written
    from blankcam.preview.scene import PartCut, page_data

    found, profile = draft.found, draft.profile
    lines = notice(found.job.blanks.material, str(profile.kind))
    data = page_data(
        found,
        profile,
        [PartCut.of(m) for m in draft.made if m.programs],
        choices={} if waiting else _choices(draft),
        notice=lines,
        refused=draft.refused,
        watch=watch,
        waiting=waiting,
    )
    return written(data)


def _choices(draft: Drafted) -> dict[int, Decision]:
    chosen = {d.string: d for m in draft.made for d in m.slots}
    if chosen:
        return chosen
    try:
        return dict(slot_decisions(draft.found, draft.profile, draft.stage))
    except RefusedError:
        return {}  # nobody can be named where even that is refused


def nut_cut(found: Design, profile: Profile, stage: Stage, made: Sequence[CutResult]) -> SlotsCut:
    """Who makes the nut's slots, and what the replay left of it."""
    from blankcam.outputs.papers.slot_work import SlotsCut

    proofs = (m.proof for m in made if m.request.part is found.nut)
    proof = next(proofs, None)
    return SlotsCut(
        stage=stage,
        choices=_choices(
            Drafted(found=found, profile=profile, stage=stage, made=tuple(made), refused=())
        ),
        left=None if proof is None else proof.field,
    )


def setup_cards(found: Design, made: Sequence[CutResult]) -> dict[str, tuple[Drawing, ...]]:
    """The cards of the set-ups that are cut, by the part's name."""
    from blankcam.outputs.drawings.setup_card import card, cards_of

    left = not found.job.left_handed
    return {m.request.part.name: tuple(map(card, cards_of(m, bass_left=left))) for m in made}


def sheet(
    found: Design,
    profile: Profile,
    cut: SlotsCut | None = None,
    setups: Mapping[str, Sequence[Drawing]] | None = None,
) -> bytes:
    """The 1:1 sheet as PDF."""
    from blankcam.outputs.papers import sheet as sheets

    lines = notice(found.job.blanks.material, str(profile.kind))
    wanted = profile.drawing
    return sheets.pdf(
        found,
        notice=lines,
        paper=wanted.paper,
        cut=cut,
        units=wanted.units,
        setups=setups or {},
    )


def sheet_pages(
    found: Design,
    profile: Profile,
    cut: SlotsCut | None = None,
    setups: Mapping[str, Sequence[Drawing]] | None = None,
) -> dict[str, bytes]:
    """The 1:1 sheet as SVG, a file a page."""
    from blankcam.outputs.papers import sheet as sheets

    lines = notice(found.job.blanks.material, str(profile.kind))
    wanted = profile.drawing
    pages = sheets.svg(
        found,
        notice=lines,
        paper=wanted.paper,
        cut=cut,
        units=wanted.units,
        setups=setups or {},
    )
    return {f"sheet-{i}.svg": page for i, page in enumerate(pages, start=1)}
