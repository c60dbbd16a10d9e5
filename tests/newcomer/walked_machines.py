"""Machines of every kind that lists are walked for, and how a list is damaged for a test."""

import re
import shutil

from tests.conftest import REPO

MILL = (REPO / "machines" / "bench-mill.toml").read_text(encoding="utf-8")
ROUTER = (REPO / "machines" / "light-router.toml").read_text(encoding="utf-8")
PROBE = '\n[probe]\ndiameter = "2 mm"\n'


def changed(text, *pairs):
    for old, new in pairs:
        assert re.search(old, text), old
        text = re.sub(old, new, text)
    return text


IN_INCHES = (r"\[controller\]", '[controller]\nunits = "inch"')
STOPS = changed(
    ROUTER,
    ('tool_change = "one file a tool"', 'tool_change = "stop"\nstop_allows_zero = true'),
    ("machine_coordinates = false", "machine_coordinates = true"),
    (r"aside = .*", 'change = { x = "140 mm", y = "20 mm" }'),
)
MACHINES = {
    "mill": MILL,
    "router": ROUTER,
    "stops": STOPS,
    "mill with a probe": MILL + PROBE,
    "router with a probe": ROUTER + PROBE,
    "mill in inches": changed(MILL, IN_INCHES) + PROBE,
    "stops in inches": changed(STOPS, IN_INCHES),
    "fixture": changed(ROUTER, ('kind = "vice"', 'kind = "fixture"\nface = "fixture"')),
    "clamps": changed(MILL, ('kind = "vice"', 'kind = "vice"\nface = "clamps"')),
}


def damage(folder, edits):
    """Change the texts of a folder's files, each by a pattern that some of them must hold."""
    for pattern, old, new in edits:
        paths = list(folder.glob(pattern))
        texts = [p.read_text(encoding="utf-8") for p in paths]
        assert any(re.search(old, text) for text in texts), (pattern, old)
        for path, text in zip(paths, texts, strict=True):
            path.write_text(re.sub(old, new, text), encoding="utf-8")


def damaged_copy(folder, to, edits):
    """A copy of a folder with its texts changed so."""
    shutil.copytree(folder, to)
    damage(to, edits)
    return to
