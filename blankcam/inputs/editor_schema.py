"""The JSON Schema of the job file, for editors that check TOML as it is typed."""

from __future__ import annotations

import json
from typing import Any

from blankcam.inputs.job_schema import JobFile

SCHEMA_FILE = "job.schema.json"


def schema_text() -> str:
    """The schema with every reference put in place, since some editors follow none.

    What a job leaves out is taken from its kind, so that only the instrument's name and kind are
    asked for.
    """
    schema = JobFile.model_json_schema()
    definitions = schema.pop("$defs", {})
    whole = _inlined(schema, definitions)
    _relax(whole)
    whole["properties"]["instrument"]["required"] = ["name", "kind"]
    whole["required"] = ["instrument"]
    whole["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    return json.dumps(whole, indent=1, ensure_ascii=False, sort_keys=True) + "\n"


def _inlined(node: Any, definitions: dict[str, Any]) -> Any:
    if isinstance(node, dict):
        if "$ref" in node:
            name = str(node["$ref"]).rsplit("/", 1)[-1]
            return _inlined(definitions[name], definitions)
        return {k: _inlined(v, definitions) for k, v in node.items()}
    return [_inlined(v, definitions) for v in node] if isinstance(node, list) else node


def _relax(node: Any) -> None:
    """Tables need not be whole; a list's entries must be."""
    if isinstance(node, dict):
        for key, value in node.get("properties", {}).items():
            if value.get("type") == "object" and "bass" not in value.get("properties", {}):
                value.pop("required", None)
                value.pop("default", None)
                _relax(value)
            elif key == "strings":
                continue
