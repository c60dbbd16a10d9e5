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
from io import StringIO
from pathlib import Path as FilePath
from typing import TYPE_CHECKING, Any

from blankcam.data import table
from blankcam.inputs.layers import LayerRule
from blankcam.outputs.drawing import Drawing, Path, Words
from blankcam.parts.curve import Arc, Segment

if TYPE_CHECKING:
    from ezdxf.document import Drawing as Document

TITLE = 2.5  # height of the lines under the drawing, mm
NOTICE = 1.8  # height of the notice's lines, mm


def render(
    drawing: Drawing,
    *,
    layers: Sequence[LayerRule],
    release: str = "R2000",
    notice: Sequence[str] = (),
    notes: Sequence[str] = (),
) -> bytes:
    """A drawing as a DXF file; the same drawing gives the same bytes.

    Parameters
    ----------
    layers : names, colours and order of the layers, one for each the drawing's paths and words hold
    release : ``R2000``, ``R2010`` or ``R12``
    notice : lines put before the header as comments and on the layer that does not plot
    notes : lines written under the drawing and put before the header too
    """
    with _ezdxf() as ezdxf:
        doc = _document(ezdxf, release)
        _make_layers(doc, layers)
        names = {rule.holds: rule.name for rule in layers}
        space = doc.modelspace()
        for path in _in_order(drawing, layers):
            _add_path(space, path, names[path.holds], flat=release == "R12")
        for words in (*drawing.words, *_below(drawing, notes, notice)):
            _add_words(space, words, names[words.holds])
        _frame(doc, drawing)
        stream = StringIO()
        doc.write(stream)
        comments = "".join(f"999\n{plain(line)}\n" for line in (*notice, *notes))
        return comments.encode("ascii") + bytes(doc.encode(stream.getvalue()))


def unit_words(release: str) -> tuple[str, ...]:
    """What a file of that release says of its unit in words."""
    if release == "R12":
        return ("Drawn in MILLIMETRES. R12 cannot say so itself: choose mm when you open it.",)
    return ("Drawn in millimetres at 1:1.",)


def _in_order(drawing: Drawing, rules: Sequence[LayerRule]) -> list[Path]:
    """Paths in the order of their layers, so that a machine marks before it cuts."""
    rank = {rule.holds: i for i, rule in enumerate(rules)}
    return sorted(drawing.paths, key=lambda p: rank[p.holds])


def plain(text: str, limit: int = 100) -> str:
    """Text fit for a DXF comment or TEXT: ASCII without the characters the format acts on."""
    kept = (c if c.isascii() and c.isprintable() and c not in "%\\^{}" else "." for c in text)
    return "".join(kept)[:limit]


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


def _below(drawing: Drawing, notes: Sequence[str], notice: Sequence[str]) -> Iterator[Words]:
    """Notes and notice as lines under everything drawn."""
    left, low, _, _ = drawing.bounds()
    at = low - 6.0
    for holds, height, lines in (("words", TITLE, notes), ("notice", NOTICE, notice)):
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
