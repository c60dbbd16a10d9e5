"""What can go wrong, and how it is told: one line a fault.

The tree::

    BlankcamError
    ├── InputError      the job, readings, profile or arguments can't be used   (exit 2)
    ├── OutputError     a file can't be written                                 (exit 2)
    └── RefusedError    understood, but it must not be cut so                   (exit 1)
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

MOST_TOLD = 50
EXIT_DONE = 0
EXIT_REFUSED = 1
EXIT_UNUSABLE = 2


def printable(text: object, limit: int = 80) -> str:
    """Hostile text made safe for one line of a terminal: escapes shown, length bounded."""
    shown = "".join(
        c if c.isprintable() else c.encode("unicode_escape").decode() for c in str(text)
    )
    return shown if len(shown) <= limit else shown[: limit - 1] + "…"


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One thing that is wrong, where, and what would do."""

    where: str
    """The file as the user named it."""
    key: str = ""
    """The key path inside it, such as ``strings[2].gauge``."""
    found: object = None
    """The value found, None where there is none to show."""
    wrong: str
    """What is wrong with it."""
    fix: str = ""
    """What would do."""
    line: int | None = None
    """The line number, where it is known."""

    def __str__(self) -> str:
        """The fault as its one line."""
        place = printable(self.where, 300) + (f":{self.line}" if self.line else "")
        head = ": ".join(p for p in (place, printable(self.key, 160)) if p)
        found = "" if self.found is None else f" {printable(self.found)!r}:"
        fix = f"; {self.fix}" if self.fix else ""
        return f"{head}:{found} {self.wrong}{fix}"


class BlankcamError(Exception):
    """Any expected failure; carries its faults and the exit code it asks for."""

    exit_code = EXIT_UNUSABLE

    def __init__(self, faults: Fault | Iterable[Fault]) -> None:
        self.faults: tuple[Fault, ...] = (faults,) if isinstance(faults, Fault) else tuple(faults)
        super().__init__(self.faults)

    def __str__(self) -> str:
        """Every fault, a line each; of a great many the first."""
        told = [str(f) for f in self.faults[:MOST_TOLD]]
        if len(self.faults) > MOST_TOLD:
            told.append("and more")
        return "\n".join(told)


class InputError(BlankcamError):
    """The job, readings, machine profile or arguments can't be used."""


class OutputError(BlankcamError):
    """An output can't be written; what stood there before still stands."""


class RefusedError(BlankcamError):
    """The job is understood but must not be cut so."""

    exit_code = EXIT_REFUSED
