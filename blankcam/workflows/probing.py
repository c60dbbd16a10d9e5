"""Probing programs of a part's set-ups, each judged before it is given out."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator

import numpy as np

from blankcam.cut import CutResult
from blankcam.data import table
from blankcam.gcode import probing as written
from blankcam.inputs.machine import Probe
from blankcam.machining.setup_sheet import SetupSheet
from blankcam.parts.frames import Box, Setup
from blankcam.replay import probing as judged
from blankcam.replay.codes import Code
from blankcam.replay.findings import Finding
from blankcam.replay.limits import Obstacle, obstacles_on_edge, obstacles_on_face
from blankcam.replay.reader import read_program

OF_THE_TEXT = frozenset(
    {Code.BYTES, Code.LENGTH, Code.COMMENT, Code.GRAMMAR, Code.LINE_NUMBER, Code.PERCENT,
     Code.REALTIME, Code.BLOCK_DELETE, Code.LETTER, Code.REPEATED, Code.NUMBER, Code.MODAL_GROUP,
     Code.UNITS, Code.NO_END, Code.AFTER_END}
)  # fmt: skip
"""Findings of the reader that a probing program must not have either."""


def with_probing(result: CutResult) -> CutResult:
    """The result with its probing programs; a caution where one would not do."""
    each = list(_probing_programs(result))
    return dataclasses.replace(
        result,
        probing=tuple(file for file, why_not in each if not why_not),
        cautions=(*result.cautions, *(why_not for _, why_not in each if why_not)),
    )


def _probing_programs(result: CutResult) -> Iterator[tuple[written.ProbingFile, str]]:
    """One for each set-up where the machine has a probe, and why it must not be run, if so."""
    machine = result.request.machine
    if machine.probe is None:
        return
    for sheet in result.setups:
        programs = [f.program for f in result.programs if f.setup == sheet.setup]
        if programs:
            begin, stem = written.start(), result.request.label.program_stem(sheet.setup)
            file = written.file(stem, programs[-1], machine, machine.probe, begin)
            wrong = judged.faults(file.text, _touched(result, sheet, machine.probe, begin))
            yield file, f"{file.name} is not written: {wrong[0]}" if wrong else ""


def probing_findings(
    given: bytes, file: written.ProbingFile, result: CutResult
) -> Iterator[Finding]:
    """What is wrong with a text given in place of a set-up's own probing program."""
    machine = result.request.machine
    assert machine.probe is not None
    sheet = next(s for s in result.setups if s.setup == file.setup)
    touched = _touched(result, sheet, machine.probe, written.start())
    read = read_program(given, machine, name=file.name)
    yield from (f for f in read.findings if f.code in OF_THE_TEXT)
    for what in judged.faults(read.text, touched):
        yield Finding(code=Code.PROBING, what=what, program=file.name)


def _touched(
    result: CutResult, sheet: SetupSheet, probe: Probe, begin: written.Start
) -> judged.Touched:
    """What stands there, and where the probe may be started."""
    others = list(_around(result, sheet))
    found = next(o for o in others if o.name in ("jaws", "fixture", "board"))
    blank = _obstacle("blank", sheet.stock)
    boxes = {"Z": found, "Y": blank, "X": _left_end(result, sheet, blank, probe.diameter)}
    boxes |= {f"other {n}": o for n, o in enumerate((blank, *others))}
    return judged.Touched(
        boxes=boxes,
        radius=probe.diameter / 2,
        fastest=table("proof")["probe"]["fastest"],
        starts=judged.corners(begin.place(sheet.zeros), begin.off),
    )


def _around(result: CutResult, sheet: SetupSheet) -> Iterator[Obstacle]:
    if sheet.setup is Setup.EDGE:
        yield from obstacles_on_edge(sheet.stock, sheet.holding)
        return
    stock = dataclasses.replace(sheet.stock, z0=sheet.stock.z0 - 20.0, z1=sheet.stock.z0)
    far = 1e4
    yield from obstacles_on_face(result.request.blank, sheet.holding)[1:]
    board = dataclasses.replace(stock, x0=-far, x1=far, y0=-far, y1=far)
    yield _obstacle("board", board)


def _left_end(result: CutResult, sheet: SetupSheet, blank: Obstacle, ball: float) -> Obstacle:
    """The blank as high as its left end ever stands, less what a ball touches with
    under its width.
    """
    part, (x, y, z) = result.request.part, blank.high
    if sheet.setup is Setup.EDGE:
        ends = part.at(result.request.stage).surface.height(np.zeros(2), np.array([0.0, y]))
        z = min(z, float(np.min(ends)))
    return dataclasses.replace(blank, name="left end", high=(x, y, z - ball / 2))


def _obstacle(name: str, box: Box) -> Obstacle:
    low, high = (box.x0, box.y0, box.z0), (box.x1, box.y1, box.z1)
    return Obstacle(name=name, low=low, high=high)
