"""One thing wrong with a program, and the list of them that a proof collects."""

from __future__ import annotations

from dataclasses import dataclass

from blankcam.faults import printable
from blankcam.replay.codes import Code

PER_CODE = 20
"""How many findings of one code are kept for a program; the rest are only counted."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing wrong with a program: where in the text, where on the part, how far."""

    code: Code
    what: str
    line: int = 0
    """Line of the program, 0 where no one line is to blame."""
    text: str = ""
    """That line."""
    value: float | str | None = None
    """The value found."""
    limit: float | str | None = None
    """What it may be."""
    at: tuple[float, float, float] | None = None
    """Where on the part, mm in the part's frame."""
    program: str = ""
    """The file's name."""

    def __str__(self) -> str:
        """The finding as one line."""
        place = f"line {self.line}" if self.line else ""
        head = ": ".join(p for p in (printable(self.program), place) if p)
        text = f" {printable(self.text, 60)!r}" if self.text else ""
        at = "" if self.at is None else " at x {:.3f} y {:.3f} z {:.3f}".format(*self.at)
        return f"{head}{text}: {self.what}{self._amount()}{at} [{self.code}]".lstrip(": ")

    def _amount(self) -> str:
        if self.value is None:
            return ""
        limit = "" if self.limit is None else f", limit {_shown(self.limit)}"
        return f": {_shown(self.value)}{limit}"


def _shown(value: float | str) -> str:
    return f"{value:.6g}" if isinstance(value, float) else printable(value)


class Collector:
    """Findings of one program, bounded in number so that a hostile file can't fill the memory."""

    def __init__(self, program: str = "") -> None:
        self.program = program
        self.kept: list[Finding] = []
        self.counts: dict[Code, int] = {}

    def add(
        self,
        code: Code,
        what: str,
        *,
        line: int = 0,
        text: str = "",
        value: float | str | None = None,
        limit: float | str | None = None,
        at: tuple[float, float, float] | None = None,
    ) -> None:
        """Keep one more finding, or only count it once there are enough of its code."""
        self.counts[code] = self.counts.get(code, 0) + 1
        if self.counts[code] <= PER_CODE:
            self.kept.append(
                Finding(
                    code=code,
                    what=what,
                    line=line,
                    text=text[:120],
                    value=value,
                    limit=limit,
                    at=at,
                    program=self.program,
                )
            )
