"""Tables of the trade, each with its source, read once from the TOML files beside this one."""

from __future__ import annotations

import tomllib
from functools import cache
from pathlib import Path
from typing import Any

_HERE = Path(__file__).parent


@cache
def table(name: str) -> dict[str, Any]:
    """One table by its file's stem, such as ``materials``; callers must not change it."""
    return tomllib.loads((_HERE / f"{name}.toml").read_text(encoding="utf-8"))
