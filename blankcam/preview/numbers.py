"""The page's tables, plots and side view from a job worked out."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from blankcam.instrument.heights import StringPath
from blankcam.machining.decision import Decision
from blankcam.parts.design import Design
from blankcam.preview.model import Cell, Plot, SideString, SideView, Table
from blankcam.preview.paths import tool_words
from blankcam.toolpath.moves import Program


def words(text: str) -> Cell:
    """A cell of words."""
    return Cell(words=text)


def mm(value: float, digits: int = 2, *, signed: bool = False) -> Cell:
    """A cell with a length."""
    return Cell(value=value, digits=digits, unit="mm", signed=signed)


def plain(value: float | None, digits: int = 0, *, signed: bool = False) -> Cell:
    """A cell with any other number; words where it is not known."""
    return Cell(words="not given") if value is None else Cell(
        value=value, digits=digits, signed=signed
    )  # fmt: skip


def tables(found: Design, choices: Mapping[int, Decision]) -> tuple[Table, ...]:
    """The tables that every job has."""
    return (_nut(found, choices), _saddle(found), _blanks(found), _strings(found), _cents(found),
            _clearances(found))  # fmt: skip


def _name(number: int, note: str) -> Cell:
    return words(f"{number} {note}")


def _nut(found: Design, choices: Mapping[int, Decision]) -> Table:
    nut = found.nut
    rows = tuple(
        (
            _name(s.string, s.note),
            mm(s.gauge, 3),
            mm(s.centre),
            mm(s.width, 3),
            mm(s.floor_front),
            mm(s.depth_front),
            mm(s.depth_front + nut.allowance),
            mm(s.lift, 3),
            plain(s.exposure, 2),
            words(_with(choices.get(s.string))),
        )
        for s in nut.slots
    )
    tilt = math.degrees(nut.tilt)
    return Table(
        key="nut",
        caption="Nut slots",
        head=("String", "Gauge [mm]", "Centre from the left end [mm]", "Slot width [mm]",
              "Floor over the seat [mm]", "Depth below the finished top [mm]",
              "Depth below the rough top [mm]", "Lift over the frets [mm]", "Share exposed",
              "Made with"),
        rows=rows,
        remark=f"Left and right as seen from the bridge, looking to the head. Floors and depths at the "
        f"witness edge; every floor falls {tilt:.1f}° toward the "
        f"head. Rough floors stand {nut.hold_back:.2f} mm higher for the file.",
    )  # fmt: skip


def _with(choice: Decision | None) -> str:
    return f"tool {choice.tool.number}" if choice and choice.tool else "file"


def _saddle(found: Design) -> Table:
    saddle = found.saddle
    rows = tuple(
        (
            _name(s.string, s.note),
            mm(s.centre),
            mm(s.height),
            mm(s.residual, 3, signed=True),
            mm(s.compensation),
            mm(s.ridge),
        )
        for s in saddle.strings
    )
    return Table(
        key="saddle",
        caption="Saddle",
        head=("String", "Centre from the left end [mm]", "Height wanted [mm]",
              "Top stands off [mm]", "Compensation [mm]", "Ridge from the tail face [mm]"),
        rows=rows,
        remark=f"Heights over the floor of the seat. The rough top stands {saddle.allowance:.2f} mm higher.",
    )  # fmt: skip


def _blanks(found: Design) -> Table:
    rows = []
    for c in found.checks:
        digits = 3 if c.dimension == "thickness" else 2
        if c.rub_off:
            said = f"{'mill' if c.by == 'mill' else 'rub'} off this much first"
            left = mm(c.rub_off, 3)
        elif c.loose:
            said, left = "thinner than the fit wants", mm(c.loose, 3)
        else:
            said, left = "enough", mm(c.have - c.need, digits)
        need = c.have - c.rub_off if c.rub_off else c.need  # the middle of the fit
        name = words(f"{c.part}, {c.dimension}")
        rows.append((name, mm(c.have, digits), mm(need, digits), left, words(said)))
    fits = "; ".join(
        f"{p.name} {p.fit.low:.3f} to {p.fit.high:.3f} mm thick ({p.fit.name} fit, {p.fit.code})"
        for p in (found.nut, found.saddle)
    )
    return Table(
        key="blanks",
        caption="Blanks",
        head=("Measure", "Blank [mm]", "Needed [mm]", "Difference [mm]", "Verdict"),
        rows=tuple(rows),
        remark=f"Limits: {fits}.",
    )


def _strings(found: Design) -> Table:
    rows = tuple(
        (
            _name(s.number, s.note),
            mm(s.gauge, 3),
            plain(s.force.unit_weight, 3),
            plain(s.force.tension, 1),
            plain(None if s.break_angle is None else math.degrees(s.break_angle), 1),
            plain(s.downforce, 1),
        )
        for s in found.strings
    )
    banded = [f"{s.number} {s.note}" for s in found.strings if s.force.unit_weight_band]
    remark = f"Weight reckoned from make and gauge, so good to 10 to 15 %: {', '.join(banded)}."
    return Table(
        key="strings",
        caption="Strings at pitch",
        head=(
            "String",
            "Gauge [mm]",
            "Unit weight g/m",
            "Tension N",
            "Break angle °",
            "Downforce N",
        ),
        rows=rows,
        remark=remark if banded else "",
    )


def _cents(found: Design) -> Table:
    rows = tuple(
        (_name(s.number, s.note), *(plain(c, 1, signed=True) for c in s.cents))
        for s in found.strings
    )
    return Table(
        key="cents",
        caption="Cents off at each fret",
        head=("String", *(str(n) for n in range(1, 13))),
        rows=rows,
        remark="At the ridge really cut, by a model of the fretted string; + is sharp.",
    )


def _frets(found: Design) -> tuple[int, ...]:
    return tuple(range(1, max(12, found.instrument.board.body_fret) + 1))


def _clearances(found: Design) -> Table:
    board, frets = found.instrument.board, _frets(found)
    rows = tuple(
        (
            _name(s.number, s.note),
            *(mm(float(c)) for c in s.clearance(board, np.array(frets))),
        )
        for s in found.instrument.strings
    )
    return Table(
        key="clearances",
        caption="Clearance of the open string over each fret",
        head=("String, [mm]", *(str(n) for n in frets)),
        rows=rows,
    )


def plots(found: Design) -> tuple[Plot, ...]:
    """Clearances and cents over the frets."""
    board, frets = found.instrument.board, _frets(found)
    names = tuple(f"{s.number} {s.note}" for s in found.instrument.strings)
    gaps = np.array([s.clearance(board, np.array(frets)) for s in found.instrument.strings])
    return (
        Plot(key="clearance", caption="Clearance over each fret", axis="Clearance", unit="mm",
             digits=2, names=names, frets=frets, values=gaps, zero=True),
        Plot(key="cents", caption="Cents off at each fret", axis="Sharp + or flat −", unit="cents",
             digits=1, names=names, frets=tuple(range(1, 13)),
             values=np.array([s.cents for s in found.strings]), zero=True),
    )  # fmt: skip


def side(found: Design) -> SideView:
    """The strings' paths from the side, each over the wood along its own line."""
    board = found.instrument.board
    body = float(board.fret_at(board.body_fret))
    end = min(float(board.fret_at(max(20, board.body_fret + 4))), 0.8 * board.scale)
    s = np.linspace(0.0, end, 121)
    return SideView(
        crown=board.fret_height,
        relief=board.relief,
        board_end=max(body, end),
        wood=np.column_stack([s, -board.dip(s)]),
        strings=tuple(_side(found, string) for string in found.instrument.strings),
    )


def _side(found: Design, string: StringPath) -> SideString:
    board, frets = found.instrument.board, np.array(_frets(found))
    s = np.linspace(0.0, string.length, 61)
    over = string.underside(s) - board.wood(s, string.across(s))
    at = board.fret_at(frets)
    crown = board.fret_height - board.dip(at)
    return SideString(
        string=string.number,
        note=string.note,
        line=np.column_stack([s, over]),
        frets=np.column_stack([frets, at, crown, string.clearance(board, frets)]),
    )


def operations(programs: Sequence[tuple[str, Program]]) -> Table:
    """Feeds and speeds of every operation, for (file, cutting program) pairs."""
    return Table(
        key="feeds",
        caption="Feeds and speeds",
        head=("Program", "Operation", "Tool", "Spindle rpm", "Feed [mm]/min", "Plunge [mm]/min",
              "Depth of cut [mm]", "Step over [mm]"),
        rows=tuple(row for file, program in programs for row in _operation_rows(file, program)),
        remark="Start lower where the machine is light; never go higher.",
    )  # fmt: skip


def _operation_rows(file: str, program: Program) -> Iterator[tuple[Cell, ...]]:
    for o in program.operations:
        cut = o.cut
        yield (
            words(file),
            words(o.words),
            words(f"{o.tool.number}: {tool_words(o.tool)}"),
            plain(cut.rpm),
            mm(cut.feed, 0),
            mm(cut.plunge, 0),
            mm(cut.depth),
            mm(cut.width),
        )
