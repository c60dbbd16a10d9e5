"""What to do next, told where a command ends."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from shlex import quote

from blankcam.faults import printable
from blankcam.inputs.job import Job
from blankcam.inputs.machine import MachineKind, Profile

_FILES = {
    MachineKind.MILL: "proven programs, drawings, the 1:1 sheet and a page to look at first",
    MachineKind.ROUTER: "proven programs, drawings, the 1:1 sheet and a page to look at first",
    MachineKind.LASER: "drawings for templates, the 1:1 sheet and a page to look at first",
    MachineKind.HAND: "the 1:1 sheet, the work in order, drawings and a page to look at first",
}


def after_layout(
    job: Job,
    profile: Profile,
    machine: str | None,
    *,
    measured: bool,
    cautions: int,
    refused: int = 0,
) -> Iterator[str]:
    """What a maker does once the numbers have been looked at.

    Parameters
    ----------
    machine : as the command named it, None where the job does
    measured : whether nothing is assumed that only the instrument itself can tell
    cautions : how many there are
    refused : how many reasons there are why it will not be made so
    """
    path = quote(printable(job.path, 300))
    if refused:
        yield f"put right in {path} what make will refuse, then run layout again"
    elif not measured:
        yield (
            f"measure what the cautions say was assumed, write it into {path}, then run layout "
            "again"
        )
    elif cautions:
        yield f"read the cautions above, put right what you can in {path}, then run layout again"
    yield f"when the numbers are right: blankcam make {path} --out cuts{_machine(machine)}"
    yield f"which writes {_FILES[profile.kind]}"


def _machine(name: str | None) -> str:
    return f" --machine {quote(printable(name, 300))}" if name is not None else ""


def after_files(
    job: Job, out: str, names: Collection[str], machine: str | None = None
) -> Iterator[str]:
    """What a maker does with the files that were written, the first thing first.

    Parameters
    ----------
    out : the folder they are in
    names : of the files
    machine : as the command named it, None where the job does
    """
    where = printable(out, 300)
    steps = {"preview.html": "look at {}"}
    if "bench.md" not in names or not any(n.endswith(".ngc") for n in names):
        steps["sheet.pdf"] = "print {} at 100 % and measure its 100 mm rule"
    steps["bench.md"] = "follow {}"
    told = [words.format(f"{where}/{name}") for name, words in steps.items() if name in names]
    if told:
        yield f"next: {', then '.join(told)}"
    if any(n.endswith(".ngc") for n in names):
        yield "before each set-up's first cut: zero as the header says, then run its air program"
    if "bench.md" in names:
        path = quote(printable(job.path, 300))
        refit = f"blankcam refit {path} readings.toml --out final{_machine(machine)}"
        yield f"once strung and settled: {refit}"


def after_refit(out: str, names: Collection[str], *, nothing: bool, done: bool) -> Iterator[str]:
    """What a maker does after a refit was worked out.

    Parameters
    ----------
    nothing : nothing is cut
    done : every string is right, so that only the finish is left
    """
    if nothing:
        return
    yield f"follow {printable(out, 300)}/refit.md"
    if any(n.endswith(".ngc") for n in names):
        yield "before each cut: zero as the header says, then run its air program"
    if done:
        yield "then polish, and string it up for good"
    else:
        yield "then string up, let it settle and measure; where it is not right yet, refit again"
