"""The page of a refit: the parts as they stand, and what comes off them."""

from __future__ import annotations

from blankcam.outputs.papers import refit_list
from blankcam.outputs.papers.refit_list import RefitSheet
from blankcam.preview.model import NextStep
from blankcam.preview.page import page
from blankcam.preview.scene import PartCut, RefitShown, page_data
from blankcam.preview.solids import RefitStates
from blankcam.workflows.refit.inputs import RefitInputs
from blankcam.workflows.refit.pieces import Cuts

HEADS = {"done": "Done", "cut": "Take off", "mend": "Too low", "string": "String it up"}
STEPS = {
    "done": ("Polish the parts", "Glue them only when all is right."),
    "cut": (
        "Cut what refit.md lists",
        "Floors first, the nut's top last; string up, measure again.",
    ),
    "mend": ("Read refit.md", "It says what is too low, and how to mend it."),
    "string": ("String it up and measure", "Then run refit with the new readings."),
}


def refit_page(given: RefitInputs, sheet: RefitSheet, cuts: Cuts) -> bytes:
    """The page, as bytes."""
    head, words = STEPS[sheet.state]
    shown = RefitShown(
        parts=_parts(sheet),
        verdict=f"{HEADS[sheet.state]}: {_so_far(sheet)}",
        cautions=sheet.cautions,
        next_step=NextStep(head=(head,), words=(words,)),
    )
    data = page_data(
        given.found,
        given.profile,
        [PartCut.of(r) for r in cuts.results if r.programs],
        choices={d.string: d for r in cuts.results for d in r.slots},
        notice=sheet.notice,
        refit=shown,
    )
    return page(data).encode()


def _so_far(sheet: RefitSheet) -> str:
    if sheet.state != "cut":
        return " ".join(refit_list.summary(sheet))
    done = sum(v.state == "done" for v in sheet.strings)
    return f"{done} of {len(sheet.strings)} strings are done; what is dotted comes off the others"


def _parts(sheet: RefitSheet) -> dict[str, RefitStates]:
    pairs = {
        "nut": (sheet.before.nut, sheet.after.nut),
        "saddle": (sheet.before.saddle, sheet.after.saddle),
    }
    return {
        name: RefitStates(now=now, asked=asked)
        for name, (now, asked) in pairs.items()
        if now is not None and asked is not None
    }
