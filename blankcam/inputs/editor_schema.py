"""JSON Schemas of what a maker writes, for editors that check TOML as it is typed."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from blankcam.inputs.coupon_file import CouponFile
from blankcam.inputs.job_schema import JobFile
from blankcam.inputs.machine_file import NEEDED
from blankcam.inputs.machine_schema import ProfileFile
from blankcam.inputs.readings_file import ReadingsFile

DRAFT = "https://json-schema.org/draft/2020-12/schema"


def schemas() -> dict[str, str]:
    """The text of each schema by its file's name, as they are shipped in data/."""
    made = {
        "job": _job(),
        "machine": _machine(),
        "readings": _inlined(ReadingsFile),
        "coupon": _inlined(CouponFile),
    }
    return {
        f"{name}.schema.json": json.dumps(
            whole | {"$schema": DRAFT}, indent=1, ensure_ascii=False, sort_keys=True
        )
        + "\n"
        for name, whole in made.items()
    }


def _job() -> dict[str, Any]:
    """What a job leaves out is taken from its kind: only instrument's name and kind are needed."""
    whole = _inlined(JobFile)
    _relax(whole)
    whole["properties"]["instrument"]["required"] = ["name", "kind"]
    whole["required"] = ["instrument"]
    return whole


def _machine() -> dict[str, Any]:
    """What a profile must say depends on the kind of machine."""
    whole = _inlined(ProfileFile)
    whole["allOf"] = [
        {
            "if": {"properties": {"kind": {"const": kind.value}}},
            "then": {"required": list(needed)},
        }
        for kind, needed in NEEDED.items()
        if needed
    ]
    return whole


def _inlined(model: type[BaseModel]) -> dict[str, Any]:
    """A model's schema with every reference put in place, since some editors follow none."""
    schema = model.model_json_schema()
    definitions = schema.pop("$defs", {})
    for table in definitions.values():
        table["title"] = table["title"].removesuffix("Table")
    whole: dict[str, Any] = _in_place(schema, definitions)
    return whole


def _in_place(node: Any, definitions: dict[str, Any]) -> Any:
    if isinstance(node, list):
        return [_in_place(v, definitions) for v in node]
    if not isinstance(node, dict):
        return node
    if "$ref" in node:
        name = str(node["$ref"]).rsplit("/", 1)[-1]
        return _in_place(definitions[name], definitions)
    made = {k: _in_place(v, definitions) for k, v in node.items()}
    return _without_null(made)


def _without_null(node: dict[str, Any]) -> dict[str, Any]:
    """TOML has no null: a key that may be left out is only not required."""
    if node.get("default", 0) is None:
        del node["default"]
    choices = [c for c in node.get("anyOf", []) if c != {"type": "null"}]
    if len(choices) == 1:
        del node["anyOf"]
        return {**choices[0], **node}
    return node | {"anyOf": choices} if choices else node


def _relax(node: dict[str, Any]) -> None:
    """Tables need not be whole; a list's entries must be."""
    for value in node.get("properties", {}).values():
        if value.get("type") == "object" and "bass" not in value.get("properties", {}):
            value.pop("required", None)
            value.pop("default", None)
            _relax(value)


if __name__ == "__main__":
    for _name, _text in schemas().items():
        (Path(__file__).parents[1] / "data" / _name).write_text(_text, encoding="utf-8")
