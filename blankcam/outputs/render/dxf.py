"""DXF that opens right: millimetres declared, true arcs, layers by what they hold.

ezdxf is imported inside the function that uses it, in a private cache folder: its import would
otherwise list this computer's fonts into the user's home.
"""

from __future__ import annotations

import json
import logging
import os
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from io import StringIO
from pathlib import Path as FilePath
from typing import TYPE_CHECKING, Any

from blankcam.data import table
from blankcam.inputs.layers import LayerRule, default_layers, for_cutting
from blankcam.inputs.machine import Kind, Profile
from blankcam.outputs.drawing import (
    Drawing,
    Offset,
    Path,
    Words,
    gauges,
    nut_drawing,
    saddle_drawing,
    stacked,
    with_offset,
)
from blankcam.outputs.drawings.cut_offset import drawing_cautions, moved_out
from blankcam.outputs.drawings.gauges import SQUARE
from blankcam.parts.curve import Arc, Segment
from blankcam.parts.nut import Nut
from blankcam.parts.part import Stage
from blankcam.parts.saddle import Saddle

if TYPE_CHECKING:
    from ezdxf.document import Drawing as Document

RELEASES = ("R2000", "R2010", "R12")
TITLE = 2.5  # height of the title lines, mm
NOTICE = 1.8  # height of the notice's lines, mm


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """How a DXF is to be written."""

    layers: tuple[LayerRule, ...] | None = None
    """Names, order and work of the layers; data/layers.toml where None."""
    release: str = "R2000"
    """``R2000``, ``R2010`` or ``R12`` (which can't say its unit)."""
    offset: Offset | None = None
    """A kerf or tool to go beside the outlines; None or zero: the true outlines only."""
    templates: bool = False
    """Gauges and the test square above the part."""


PLAIN = Options()


def options_for(
    profile: Profile,
    *,
    release: str | None = None,
    tool: int | None = None,
) -> Options:
    """How a machine wants its DXF: a laser its kerf, a router its tool beside the outlines.

    ``tool``: number of the router's tool for outlines; its widest flat one where None. A mill or
    the hand gets the true outlines alone, and the plans, which the others' files leave out.
    """
    moved = moved_out(profile, tool)
    way = None if moved is None else Offset(kind=moved[0], width=moved[1])
    templates = profile.kind in (Kind.LASER, Kind.ROUTER)
    layers = profile.drawing.layers
    if layers is None and templates:
        layers = for_cutting(default_layers())
    return Options(
        layers=layers, release=release or profile.drawing.release, offset=way, templates=templates
    )


def told(options: Options) -> tuple[str, ...]:
    """What the maker must be told beside the files."""
    way = options.offset
    return drawing_cautions(options.release, None if way is None else (way.kind, way.width))


def write_nut(
    nut: Nut,
    stage: Stage,
    *,
    notice: Sequence[str],
    board: tuple[float, float] | None = None,
    title: Sequence[str] = (),
    options: Options = PLAIN,
) -> bytes:
    """The nut's DXF: elevation from its left end at the origin, plan below, title and notice.

    ``board``: the board's wood over the seat's floor at the middle (the drop) and its radius.
    """
    return _part(nut_drawing(nut, stage, board), nut, notice, title, options)


def write_saddle(
    saddle: Saddle,
    stage: Stage,
    *,
    notice: Sequence[str],
    seat_top: float | None = None,
    title: Sequence[str] = (),
    options: Options = PLAIN,
) -> bytes:
    """The saddle's DXF; ``seat_top``: the bridge's top over the seat's floor (the slot's depth)."""
    return _part(saddle_drawing(saddle, stage, seat_top), saddle, notice, title, options)


def write(
    drawing: Drawing,
    *,
    notice: Sequence[str],
    title: Sequence[str] = (),
    options: Options = PLAIN,
) -> bytes:
    """Any drawing as a DXF file; the same drawing gives the same bytes.

    Parameters
    ----------
    notice : lines put before the header as comments and on the layer that does not plot
    title : lines written under the drawing

    Raises
    ------
    ValueError
        An outline has a place too narrow for the offset, or no layer is left to draw.
    """
    rules = options.layers if options.layers is not None else default_layers()
    drawing = with_offset(_wanted(drawing, rules), options.offset)
    said = (*title, *_unit_words(options.release), *_work_words(drawing, rules, options.offset))
    with _ezdxf() as ezdxf:
        doc = _document(ezdxf, options.release)
        _make_layers(doc, rules)
        names = {rule.holds: rule.name for rule in rules}
        space = doc.modelspace()
        for path in _in_order(drawing, rules):
            _add_path(space, path, names[path.holds], flat=options.release == "R12")
        for words in (*drawing.words, *_below(drawing, said, notice)):
            _add_words(space, words, names[words.holds])
        _frame(doc, drawing)
        stream = StringIO()
        doc.write(stream)
        comments = "".join(f"999\n{plain(line)}\n" for line in (*notice, *said))
        return comments.encode("ascii") + bytes(doc.encode(stream.getvalue()))


def _part(
    drawn: Drawing,
    part: Nut | Saddle,
    notice: Sequence[str],
    title: Sequence[str],
    options: Options,
) -> bytes:
    if options.templates:
        drawn = stacked((drawn, *gauges(part, options.offset)), 4.0 + 2 * _out(options.offset))
    return write(drawn, notice=notice, title=title, options=options)


def _out(way: Offset | None) -> float:
    return 0.0 if way is None else way.out


def _wanted(drawing: Drawing, rules: Sequence[LayerRule]) -> Drawing:
    """The drawing without the layers that are to be left out."""
    out = {rule.holds for rule in rules if rule.work == "omit"}
    left = Drawing(
        paths=tuple(p for p in drawing.paths if p.holds not in out),
        words=tuple(w for w in drawing.words if w.holds not in out),
    )
    if not left.paths:
        raise ValueError("every layer that holds something is left out")
    return left


def _in_order(drawing: Drawing, rules: Sequence[LayerRule]) -> list[Path]:
    """Paths in the order of their layers, so that a machine marks before it cuts."""
    rank = {rule.holds: i for i, rule in enumerate(rules)}
    return sorted(drawing.paths, key=lambda p: rank[p.holds])


def _work_words(drawing: Drawing, rules: Sequence[LayerRule], way: Offset | None) -> Iterator[str]:
    """Which layers are to be cut and which marked, and how the kerf or tool is accounted for."""
    names = {rule.holds: rule.name for rule in rules}
    here = {p.holds for p in drawing.paths}
    outlines = [r.name for r in rules if any(p.cut and p.holds == r.holds for p in drawing.paths)]
    square = [names["test square"]] if "test square" in here else []
    if way is None or way.width == 0:
        yield f"Cut: {', '.join((*outlines, *square))}. True size, no kerf or tool allowed for."
    else:
        yield f"Cut: {', '.join((names[way.kind], *square))}."
        what = "kerf" if way.kind == "kerf" else "tool diameter"
        yield (
            f"{names[way.kind]} is {', '.join(outlines)} moved out by {way.out:.3f} mm, "
            f"half a {what} of {way.width:.3f} mm."
        )
        yield "Applied once, here: cut it with the machine's own setting for it at zero."
        yield f"Or cut {', '.join(outlines)} with the machine's setting instead. Never both."
    if marks := [r.name for r in rules if r.work == "mark" and r.holds in here]:
        yield f"Mark: {', '.join(marks)}. The other layers are for the eye."
    if square:
        yield (
            f"{square[0]} is {SQUARE:.2f} mm wide without offset: "
            f"kerf = {SQUARE:.2f} less the width of the square you get."
        )


def plain(text: str, limit: int = 100) -> str:
    """Text fit for a DXF comment or TEXT: ASCII without the characters the format acts on."""
    kept = (c if c.isascii() and c.isprintable() and c not in "%\\^{}" else "." for c in text)
    return "".join(kept)[:limit]


def _unit_words(release: str) -> tuple[str, ...]:
    if release == "R12":
        return ("Drawn in MILLIMETRES. R12 can't say so itself: set mm when you open it.",)
    return ("Drawn in millimetres at 1:1.",)


@contextmanager
def _ezdxf() -> Iterator[Any]:
    """The library, imported and used away from the user's home, with nothing random written."""
    kept = {name: os.environ.get(name) for name in ("XDG_CACHE_HOME", "XDG_CONFIG_HOME")}
    with tempfile.TemporaryDirectory() as folder:
        cache = FilePath(folder, "ezdxf")
        cache.mkdir()
        no_fonts = json.dumps({"version": 2, "font-faces": []})
        (cache / "font_manager_cache.json").write_text(no_fonts, encoding="utf-8")
        os.environ.update(dict.fromkeys(kept, folder))
        try:
            import ezdxf
        finally:
            for name, value in kept.items():
                if value is None:
                    del os.environ[name]
                else:
                    os.environ[name] = value
    options: Any = ezdxf.__dict__["options"]
    before = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True
    log = logging.getLogger("ezdxf")
    level = log.level
    log.setLevel(logging.ERROR)  # its warning that R12 has no unit would reach the terminal
    try:
        yield ezdxf
    finally:
        log.setLevel(level)
        options.write_fixed_meta_data_for_testing = before


def _document(ezdxf: Any, release: str) -> Document:
    """An empty drawing in millimetres, as far as its release can say so."""
    doc: Document = ezdxf.new(release, units=4)
    doc.header["$MEASUREMENT"] = 1
    return doc


def _make_layers(doc: Document, rules: Sequence[LayerRule]) -> None:
    """Line types in mm and the layers, in their order of work."""
    lines = table("layers")["lines"]
    for rule in rules:
        made = rule.line.upper().replace(" ", "_").replace("-", "_")
        if lines[rule.line] and made not in doc.linetypes:
            strokes = [rule.width * n for n in lines[rule.line]]
            doc.linetypes.add(made, pattern=_pattern(strokes), description=rule.line)
        layer = doc.layers.add(
            rule.name, color=rule.colour, linetype=made if lines[rule.line] else "Continuous"
        )
        if doc.dxfversion > "AC1009":
            layer.dxf.lineweight = round(rule.width * 100)
            layer.dxf.plot = 0 if rule.holds == "notice" else 1
        elif rule.holds == "notice":
            layer.off()  # R12 knows no other way not to plot


def _pattern(strokes: Sequence[float]) -> list[float]:
    """Total length, then strokes up and gaps down, as DXF has them."""
    return [sum(strokes), *(s if i % 2 == 0 else -s for i, s in enumerate(strokes))]


def _add_path(space: Any, path: Path, layer: str, *, flat: bool) -> None:
    """A path as one polyline with bulges, its arcs true."""
    corners = [(*seg.start, _bulge(seg)) for seg in path.chain]
    if not path.closed:
        corners.append((*path.chain[-1].end, 0.0))
    attributes = {"layer": layer}
    if flat:
        space.add_polyline2d(corners, format="xyb", close=path.closed, dxfattribs=attributes)
    else:
        space.add_lwpolyline(corners, format="xyb", close=path.closed, dxfattribs=attributes)


def _bulge(seg: Segment) -> float:
    return seg.bulge if isinstance(seg, Arc) else 0.0


def _add_words(space: Any, words: Words, layer: str) -> None:
    from ezdxf.enums import TextEntityAlignment as Align

    text = space.add_text(
        plain(words.text),
        height=words.height,
        rotation=words.turn,
        dxfattribs={"layer": layer},
    )
    anchors = {"left": Align.LEFT, "middle": Align.CENTER, "right": Align.RIGHT}
    text.set_placement(words.at, align=anchors[words.anchor])


def _below(drawing: Drawing, title: Sequence[str], notice: Sequence[str]) -> Iterator[Words]:
    """Title and notice as lines under everything drawn."""
    left, low, _, _ = drawing.bounds()
    at = low - 6.0
    for holds, height, lines in (("words", TITLE, title), ("notice", NOTICE, notice)):
        for line in lines:
            at -= height * 1.6
            yield Words(at=(left, at), text=line, height=height, holds=holds)
        at -= height * 1.6


def _frame(doc: Document, drawing: Drawing) -> None:
    """Extents and the opening view on what is drawn."""
    left, low, right, high = drawing.bounds()
    doc.header["$EXTMIN"] = (left, low, 0.0)
    doc.header["$EXTMAX"] = (right, high, 0.0)
    doc.set_modelspace_vport(
        height=max(high - low, (right - left) / 1.6) * 1.2,
        center=((left + right) / 2, (low + high) / 2),
    )
