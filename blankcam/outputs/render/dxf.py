"""DXF that opens right: millimetres declared, true arcs, layers by what they hold.

ezdxf is imported inside the function that uses it, in a private cache folder: its import would
otherwise list this computer's fonts into the user's home.
"""

from __future__ import annotations

import json
import logging
import os
import tempfile
import textwrap
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from io import StringIO
from pathlib import Path as FilePath
from typing import TYPE_CHECKING, Any

from blankcam.data import table
from blankcam.inputs.layers import LayerRule
from blankcam.outputs import typeface
from blankcam.outputs.drawing import Drawing, Path, Words
from blankcam.parts.curve import Arc, Segment

if TYPE_CHECKING:
    from ezdxf.document import Drawing as Document

NOTE = 1.2  # height of the lines beside the drawing, mm
LINE = 1.8  # from one such line to the next
BESIDE = 8.0  # from the drawing to them, and from one column of them to the next
LONGEST = 72  # letters of such a line
WIDER = 1.3  # room for the wider letters of other programs: one draws them 1.17 times as wide


def render(
    drawing: Drawing,
    *,
    layers: Sequence[LayerRule],
    release: str = "R2000",
    notice: Sequence[str] = (),
    notes: Sequence[str] = (),
    written: bool = True,
) -> bytes:
    """A drawing as a DXF file; the same drawing gives the same bytes.

    Parameters
    ----------
    layers : one for each thing that the drawing's paths and words hold, in their order of work
    release : ``R2000``, ``R2010`` or ``R12``
    notice : lines put before the header as comments, and beside the drawing
    notes : lines that go before the notice in both places
    written : False keeps both out of the drawing itself
    """
    rules = {rule.holds: rule for rule in layers}
    beside = tuple(_beside(drawing, notes, notice)) if written else ()
    whole = Drawing(paths=_in_order(drawing, layers), words=(*drawing.words, *beside))
    with _ezdxf() as ezdxf:
        doc = _document(ezdxf, release)
        _make_layers(doc, [r for r in layers if r.holds in whole.held()])
        _make_line_types(doc, rules)
        space = doc.modelspace()
        for path in whole.paths:
            _add_path(space, path, rules[path.holds], flat=release == "R12")
        for words in whole.words:
            _add_words(space, words, rules[words.holds].name)
        _frame(doc, whole)
        stream = StringIO()
        doc.write(stream)
        comments = "".join(f"999\n{plain(line)}\n" for line in (*notice, *notes))
        return comments.encode("ascii") + bytes(doc.encode(stream.getvalue()))


def unit_words(release: str) -> tuple[str, ...]:
    """What a file of that release says of its unit in words."""
    if release == "R12":
        return ("Drawn in MILLIMETRES. R12 cannot say so itself: choose mm when you open it.",)
    return ("Drawn in millimetres at 1:1.",)


def _in_order(drawing: Drawing, rules: Sequence[LayerRule]) -> tuple[Path, ...]:
    """Paths in the order of their rules, so that a machine marks before it cuts."""
    rank = {rule.holds: i for i, rule in enumerate(rules)}
    return tuple(sorted(drawing.paths, key=lambda p: rank[p.holds]))


def plain(text: str, limit: int = 250) -> str:
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
    doc.layers.discard("Defpoints")
    return doc


def _make_layers(doc: Document, rules: Sequence[LayerRule]) -> None:
    """The layers in their order of work, each once; what is for the eye does not plot."""
    for rule in rules:
        if rule.name in doc.layers:
            continue
        layer = doc.layers.add(rule.name, color=rule.colour)
        if doc.dxfversion > "AC1009":  # R12 knows neither
            layer.dxf.lineweight = round(rule.width * 100)
            layer.dxf.plot = int(rule.work != "show")


def _make_line_types(doc: Document, rules: Mapping[str, LayerRule]) -> None:
    """The line types of what is for the eye, in mm."""
    lines = table("layers")["lines"]
    for rule in rules.values():
        name = _line_type(rule)
        if name not in doc.linetypes:
            strokes = [rule.width * n for n in lines[rule.line]]
            doc.linetypes.add(name, pattern=_pattern(strokes), description=rule.line)


def _line_type(rule: LayerRule) -> str:
    """Dashes are for the eye alone: a machine might cut or mark them as they are drawn."""
    if rule.work != "show" or not table("layers")["lines"][rule.line]:
        return "Continuous"
    return rule.line.upper().replace(" ", "_").replace("-", "_")


def _pattern(strokes: Sequence[float]) -> list[float]:
    """Total length, then strokes up and gaps down, as DXF has them."""
    return [sum(strokes), *(s if i % 2 == 0 else -s for i, s in enumerate(strokes))]


def _add_path(space: Any, path: Path, rule: LayerRule, *, flat: bool) -> None:
    """A path as one polyline with bulges, its arcs true."""
    corners = [(*seg.start, _bulge(seg)) for seg in path.chain]
    if not path.closed:
        corners.append((*path.chain[-1].end, 0.0))
    attributes: dict[str, Any] = {"layer": rule.name}
    if _line_type(rule) != "Continuous":
        attributes["linetype"] = _line_type(rule)
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


def _beside(drawing: Drawing, notes: Sequence[str], notice: Sequence[str]) -> Iterator[Words]:
    """Notes and notice on the drawing's right, a column each, from its upper edge down."""
    _, _, right, high = drawing.extent()
    at = right + BESIDE
    for holds, lines in (("words", notes), ("notice", notice)):
        broken = [piece for line in lines for piece in textwrap.wrap(plain(line), LONGEST)]
        for i, line in enumerate(broken, start=1):
            yield Words(at=(at, high - LINE * i), text=line, height=NOTE, holds=holds)
        at += WIDER * max((typeface.width(line, NOTE) for line in broken), default=0.0) + BESIDE


def _frame(doc: Document, drawing: Drawing) -> None:
    """Extents and the opening view on all that is drawn and written."""
    left, low, right, high = drawing.extent()
    doc.modelspace().reset_extents((left, low, 0.0), (right, high, 0.0))
    doc.set_modelspace_vport(
        height=max(high - low, (right - left) / 1.6) * 1.1,
        center=((left + right) / 2, (low + high) / 2),
    )
