"""A case kept where the program's own proof refuses what it has planned: a fault of the program."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from pathlib import Path

import blankcam
from blankcam.cut import CutResult


def keep_case(results: Sequence[CutResult]) -> str | None:
    """Write programs, findings and all that was asked for into a folder of its own.

    Returns
    -------
    The folder; None where it could not be written.
    """
    try:
        folder = Path(tempfile.mkdtemp(prefix="blankcam-case-"))
        for result in results:
            for file in result.files:
                (folder / file.name).write_text(file.text, encoding="utf-8")
        (folder / "case.txt").write_text("\n".join(_lines(results)) + "\n", encoding="utf-8")
    except OSError:
        return None
    return str(folder)


def _lines(results: Sequence[CutResult]) -> list[str]:
    """What is needed to see the fault again."""
    lines = [f"blankcam {blankcam.__version__}"]
    for result in results:
        assert result.proof is not None
        lines += [str(finding) for finding in result.proof.faults]
        lines += [repr(result.decisions), repr(result.request)]
    return lines
