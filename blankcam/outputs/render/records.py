"""Values as JSON for other programs; numbers rounded, the same text for the same values."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import Any

from blankcam.outputs.rows import Section, Table

DECIMALS = 4  # tenths of a micrometre: finer than anything that can be measured


def render(content: Mapping[str, Any]) -> str:
    """A report as text, indented."""
    return json.dumps(rounded(content), indent=2, ensure_ascii=True, allow_nan=False) + "\n"


def rounded(value: Any) -> Any:
    """Tables as lists of records, numbers rounded; an infinite radius becomes None (flat)."""
    if isinstance(value, Section):
        return rounded(value.table.records() if value.table else [])
    if isinstance(value, Table):
        return rounded(value.records())
    if isinstance(value, Mapping):
        return {k: rounded(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [rounded(v) for v in value]
    if isinstance(value, float):
        return round(value, DECIMALS) + 0.0 if math.isfinite(value) else None
    return value
