"""Programs proved on the blank and in the place the job gives them, on a coarser grid."""

from blankcam.replay.proof import ProgramText, Setup
from blankcam.replay.prove import prove
from blankcam.workflows import cut_part

STEP = 0.1
"""mm; coarser than the proof's own cells: heights are exact at each, slots and ends have probes."""


def proved(found, part, profile, stage, plan, written, **changed):
    """The proof of a plan's texts; ``changed``: other texts by stem, - as _."""
    setups = {f"{p.stem}.ngc": Setup(p.setup) for p in plan.programs}
    cuts = [(o.tool.number, o.cut) for p in plan.programs for o in p.operations]
    return prove(
        [
            ProgramText(
                name=w.file,
                data=changed.get(w.file.removesuffix(".ngc").replace("-", "_"), w.text),
                setup=setups[w.file],
            )
            for w in written
        ],
        part,
        stage=stage,
        milled=frozenset(c.string for c in plan.slots if c.by == "mill"),
        stock=cut_part.stock_of(found, part),
        profile=profile,
        material=found.job.blanks.material,
        plunge={n: max(c.plunge for m, c in cuts if m == n) for n, _ in cuts},
        depth={n: max(c.depth for m, c in cuts if m == n) for n, _ in cuts},
        step=STEP,
    )
