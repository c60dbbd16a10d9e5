"""Tables of the trade, each with its source, read once from the TOML files beside this one."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib import resources
from typing import Any


@cache
def table(name: str) -> dict[str, Any]:
    """One table by its file's stem, such as ``materials``; callers must not change it."""
    text = resources.files(__name__).joinpath(f"{name}.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)
