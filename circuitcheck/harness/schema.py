"""JSON Schema (draft 2020-12) of the two file formats, for editors that check while you type.

A schema sees the file as YAML 1.2 reads it: ``volts: 12`` is a number there and ``plug: true`` a
truth value, where our own reader sees text. So wherever text may stand, a number or a truth value may.
What a schema cannot say (a wire must end at a terminal that exists) is left to the reader.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pydantic import BaseModel
from pydantic.json_schema import models_json_schema

from circuitcheck.harness.model import KINDS_OF_OBSERVATION, Header, Observation, Setup, Test
from circuitcheck.harness.sheet_reader import METER, PUT_RIGHT, SYMPTOM
from circuitcheck.parts import KINDS
from circuitcheck.parts.wire import Wire

_DIALECT = "https://json-schema.org/draft/2020-12/schema"
_SCALAR = ["string", "number", "boolean"]
_SECTION = r"^\s*(((\d+\.?\d*|\.\d+)\s*(mm2|mm²))|((\d{1,2}|[1-4]/0)\s*AWG))\s*$"
Schema = dict[str, Any]


def harness_schema() -> Schema:
    """The schema of a harness file."""
    defs = _definitions([Header, Wire, Test, *KINDS.values()])
    header = defs.pop("Header")
    for name, kind in KINDS.items():
        defs[kind.__name__]["properties"]["kind"] = {"const": name, "description": kind.summary}
    properties = header["properties"]
    properties["parts"] = _mapping_of(_part(), properties["parts"], minimum=1)
    properties["wires"] = _mapping_of(_ref(Wire), properties["wires"], minimum=1)
    properties["tests"] = _mapping_of(_ref(Test), properties["tests"])
    properties["frequencies"]["additionalProperties"] = {
        "type": ["string", "number"],
        "minimum": 0,
        "exclusiveMaximum": 1e6,
        "pattern": r"^\s*\+?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?\s*$",
    }
    return {"$schema": _DIALECT, "title": "A harness and its tests", **header, "$defs": defs}


def readings_schema() -> Schema:
    """The schema of a sheet of readings, written as YAML."""
    defs = _definitions([Setup, Observation])
    observation = defs.pop("Observation")
    looked_at = {kind: observation["properties"][kind] for kind in KINDS_OF_OBSERVATION}
    reading = {
        "type": _SCALAR,
        "description": "a number with its unit, a word, OL; '-' in quotes if it was not taken",
    }
    defs["Added"] = {
        "description": "a reading that no test lists",
        "type": "object",
        "additionalProperties": False,
        "properties": {
            "test": {"type": _SCALAR, "description": "the test it was taken in"},
            "setup": _ref(Setup),
            **looked_at,
            "read": reading,
        },
        "required": ["read"],
        "anyOf": [{"required": ["test"]}, {"required": ["setup"]}],
        "oneOf": _exactly_one(),
    }
    added = {"$ref": "#/$defs/Added"}
    readings_of_a_test = {"type": "object", "additionalProperties": reading}
    return {
        "$schema": _DIALECT,
        "title": "A sheet of readings",
        "type": "object",
        "additionalProperties": False,
        "properties": {
            "readings": {"type": _SCALAR, "description": "the title"},
            "harness": {"type": _SCALAR, "description": "file name of the harness, without its ending"},
            "date": {"description": "when they were taken"},
            "note": {"type": _SCALAR},
            SYMPTOM: {"type": _SCALAR, "description": "what the customer says: 'right fan dead on low'"},
            METER: {
                "type": "object",
                "additionalProperties": False,
                "minProperties": 1,
                "description": "the meter, if it is not a usual one of 10 Mohm",
                "properties": {
                    "input": {"type": _SCALAR, "description": "such as 1 Mohm"},
                    "within": {
                        "type": _SCALAR,
                        "description": "by how much of a reading it may be off, such as 5 %",
                    },
                },
            },
            PUT_RIGHT: {
                "description": "units that were put right before these readings",
                "anyOf": [{"type": "array", "items": {"type": _SCALAR}}, {"type": _SCALAR}],
            },
            "tests": {
                "type": "object",
                "description": "readings by test and name",
                "additionalProperties": readings_of_a_test,
            },
            "also": {
                "description": "readings that no test lists",
                "anyOf": [{"type": "array", "items": added}, added],
            },
        },
        "anyOf": [{"required": [key]} for key in ("tests", "also", PUT_RIGHT, SYMPTOM)],
        "$defs": defs,
    }


def _definitions(models: list[type[BaseModel]]) -> dict[str, Schema]:
    """What pydantic knows of the models, as the file's own author sees it."""
    _, whole = models_json_schema([(one, "validation") for one in models], by_alias=True)
    defs = {name: _tidy(one) for name, one in whole["$defs"].items()}
    defs.pop("Engine", None)  # written as text
    for one in defs.values():
        one["additionalProperties"] = False
    if "Wire" in defs:
        defs["Wire"]["properties"]["size"].update(type="string", pattern=_SECTION)
    if "Observation" in defs:
        defs["Observation"]["oneOf"] = _exactly_one()
    return defs


def _tidy(node: Any, *, named: bool = False) -> Any:
    """Without titles and defaults in base units, without null, and with numbers where text may stand.

    :param named: whether the keys are names of fields and not words of JSON Schema
    """
    if isinstance(node, list):
        return [_tidy(one) for one in node]
    if not isinstance(node, Mapping):
        return node
    if named:
        return {key: _tidy(one) for key, one in node.items()}
    found = {
        key: _tidy(one, named=key == "properties")
        for key, one in node.items()
        if key != "title" and (key != "default" or isinstance(one, str | bool))
    }
    choices = [one for one in found.pop("anyOf", []) if one != {"type": "null"}]
    if len(choices) == 1:
        found = {**choices[0], **found}
    elif choices:
        found["anyOf"] = choices
    if found.get("type") == "string" and "pattern" not in found:
        found["type"] = _SCALAR
    if "description" in found:
        found["description"] = " ".join(found["description"].replace("``", "'").split())
    options = found.get("enum") or ([found["const"]] if "const" in found else [])
    numbers = [int(one) for one in options if isinstance(one, str) and one.isdigit()]
    if numbers:
        found["enum"] = [*options, *numbers]
    if options and found.get("type") == _SCALAR:
        del found["type"]
    return found


def _exactly_one() -> list[Schema]:
    return [{"required": [kind]} for kind in KINDS_OF_OBSERVATION]


def _mapping_of(entry: Schema, given: Schema, minimum: int = 0) -> Schema:
    described = {"description": given["description"]} if "description" in given else {}
    least = {"minProperties": minimum} if minimum else {}
    return {**described, **least, "type": "object", "additionalProperties": entry}


def _part() -> Schema:
    """One kind or another, told by ``kind``: an editor then offers the fields of that kind."""
    return {
        "type": "object",
        "required": ["kind"],
        "properties": {"kind": {"enum": list(KINDS)}},
        "allOf": [
            {"if": {"required": ["kind"], "properties": {"kind": {"const": name}}}, "then": _ref(kind)}
            for name, kind in KINDS.items()
        ],
    }


def _ref(model: type[BaseModel]) -> Schema:
    return {"$ref": f"#/$defs/{model.__name__}"}


__all__ = ["harness_schema", "readings_schema"]
