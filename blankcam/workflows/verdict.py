"""What ``prove`` prints of a proof: the verdict, the signature, what was judged and
what was not.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from blankcam.outputs.figures import off_by
from blankcam.replay.findings import Finding
from blankcam.replay.proof import Proof
from blankcam.workflows.cut_part import MOST_TOLD


def verdict_word(*, passed: bool) -> str:
    """How a verdict is told."""
    return "passed" if passed else "FAILED"


def verdict_lines(program: str, proof: Proof, signed: str) -> Iterator[str]:
    """The lines to print of a program that cuts one blank."""
    yield f"{program}: {verdict_word(passed=proof.passed)}; {signed}"
    yield f"  the part it leaves is {off_by(proof.gouge_um, proof.left_um)}"
    yield (
        f"  rapids through stock {proof.rapid_contacts}, shank or holder contacts "
        f"{proof.holder_contacts}, jaws or bed {proof.holding_contacts}, "
        f"outside travel {proof.outside_travel}"
    )
    yield from (f"  {finding}" for finding in proof.faults[:MOST_TOLD])
    if len(proof.faults) > MOST_TOLD:
        yield f"  and {len(proof.faults) - MOST_TOLD} more"
    yield from judged_lines()


def judged_lines() -> Iterator[str]:
    """What the proof says something about, and what it cannot."""
    yield (
        "  judged: the path and the part it leaves, what is touched and held, feeds and speeds "
        "against the material table, stops and dwells, header and stops against today's job"
    )
    yield (
        "  not judged: whether zero, tools and blank on the machine are as stated, how sharp the "
        "tools are, how firmly anything is clamped or glued, flaws in the blank"
    )


def signed_words(proof: Proof, program: str, job_digest: str) -> str:
    """Whether a program of a proof, by its file's name, is as it was written, and for that job."""
    one = next(p for p in proof.programs if p.name == program)
    told = written_words(one.as_written)
    return (
        f"{told}, but for another job"
        if one.as_written and job_digest not in one.job_digests
        else told
    )


def written_words(as_written: bool | None) -> str:
    """Whether a program has the digest that it carries; None where it carries none."""
    if as_written is None:
        return "carries no digest of its moves"
    return "as written" if as_written else "differs from what was written"


def probing_lines(program: str, faults: Sequence[Finding], signed: str) -> Iterator[str]:
    """The lines to print of a probing program."""
    yield f"{program}: {verdict_word(passed=not faults)}; {signed}"
    yield from (f"  {finding}" for finding in faults[:MOST_TOLD])
    yield (
        "  judged: from every place that the probe may be started at, what it meets and which "
        "zeros it sets, and what its head says against today's job"
    )
    yield (
        "  not judged: whether the controller knows G38.2 and G10 L20, whether the probe answers, "
        "how long it is"
    )
