"""Pages of drawings as PDF at 1:1; reportlab is imported where it is used."""

from __future__ import annotations

import functools
import math
from collections.abc import Sequence
from io import BytesIO
from typing import Any

from blankcam.outputs.drawing import Drawing, Path, Words
from blankcam.outputs.render.inks import Ink, inks
from blankcam.outputs.typeface import BOLD, CAP, FONT, shown
from blankcam.parts.curve import Arc

POINTS = 72 / 25.4  # PDF points a millimetre


def render(pages: Sequence[Drawing], size: tuple[float, float], title: str) -> bytes:
    """PDF pages of that size in mm; the same pages give the same bytes."""
    from reportlab.pdfgen.canvas import Canvas

    stream = BytesIO()
    canvas = Canvas(
        stream, pagesize=(size[0] * POINTS, size[1] * POINTS), invariant=1, pageCompression=0
    )
    canvas.setTitle(title)
    canvas.setCreator("blankcam")
    canvas.setViewerPreference("PrintScaling", "None")
    drawn_as = inks()
    for page in pages:
        canvas.scale(POINTS, POINTS)
        for path in page.paths:
            _path(canvas, path, drawn_as[path.holds])
        for words in page.words:
            _words(canvas, words, drawn_as[words.holds])
        canvas.showPage()
    canvas.save()
    return stream.getvalue()


@functools.cache  # to read one from its name takes longer than to draw a path in it
def _colour(name: str) -> Any:
    """A colour as the canvas takes it."""
    from reportlab.lib.colors import toColor

    return toColor(name)


def _path(canvas: Any, path: Path, ink: Ink) -> None:
    canvas.setLineWidth(ink.width)
    canvas.setDash(list(ink.dashes))
    canvas.setStrokeColor(_colour(ink.stroke or ink.fill))
    canvas.setFillColor(_colour(ink.fill))
    canvas.setLineJoin(1)
    drawn = canvas.beginPath()
    drawn.moveTo(*path.chain[0].start)
    for seg in path.chain:
        if isinstance(seg, Arc):
            _curve(drawn, seg)
        else:
            drawn.lineTo(*seg.end)
    if path.closed:
        drawn.close()
    canvas.drawPath(drawn, stroke=int(ink.stroke is not None), fill=int(path.fill))


def _curve(drawn: Any, arc: Arc) -> None:
    """An arc as Bezier curves of at most 22.5 degrees: off by less than 1e-7 of the radius."""
    count = max(1, math.ceil(abs(arc.sweep) / (math.pi / 8)))
    step = arc.sweep / count
    reach = 4 / 3 * math.tan(step / 4)
    (ca, cb) = arc.centre
    for i in range(count):
        (a0, b0), (a1, b1) = arc.at(i / count), arc.at((i + 1) / count)
        drawn.curveTo(
            a0 - reach * (b0 - cb), b0 + reach * (a0 - ca),
            a1 + reach * (b1 - cb), b1 - reach * (a1 - ca),
            a1, b1,
        )  # fmt: skip


def _words(canvas: Any, words: Words, ink: Ink) -> None:
    canvas.saveState()
    canvas.setFillColor(_colour(ink.words))
    canvas.setFont(BOLD if words.bold else FONT, words.height / CAP)
    canvas.translate(*words.at)
    canvas.rotate(words.turn)
    place = {
        "left": canvas.drawString,
        "middle": canvas.drawCentredString,
        "right": canvas.drawRightString,
    }
    place[words.anchor](0, 0, shown(words.text))
    canvas.restoreState()
