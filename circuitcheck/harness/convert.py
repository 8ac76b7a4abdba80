"""Turning what pydantic says into our own problems: line, name, found, must be, nearest."""

from __future__ import annotations

import typing
from collections.abc import Mapping
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from circuitcheck.errors import nearest
from circuitcheck.harness.tree import Path_, Tree

Model = TypeVar("Model", bound=BaseModel)

_SHAPES = {
    "dict_type": "must be a mapping of names to values", "model_type": "must be a mapping",
    "list_type": "must be a list", "tuple_type": "must be a list of two, such as [S1.2, S1.1]",
    "string_type": "must be one word or text", "model_attributes_type": "must be a mapping",
    "too_short": "must have two entries", "too_long": "must have two entries",
}  # fmt: skip


def build(model: type[Model], data: Any, tree: Tree, path: Path_) -> Model | None:
    """The model, or None with every problem put into the tree."""
    try:
        return model.model_validate(data)
    except ValidationError as error:
        seen = set()
        for one in error.errors(include_url=False):
            where = (*path, *_inside(one["loc"], data))
            if where not in seen:
                seen.add(where)
                _report(one, model, tree, where, path)
        return None


def _inside(loc: tuple[Any, ...], data: Any) -> Path_:
    """The part of pydantic's location that exists in the file; union labels drop out."""
    path: list[str | int] = []
    for step in loc:
        if isinstance(data, Mapping):
            path.append(step)
            data = data.get(step)
        elif isinstance(data, list) and isinstance(step, int):
            path.append(step)
            data = data[step] if step < len(data) else None
    return tuple(path)


def _report(error: Any, model: type[BaseModel], tree: Tree, where: Path_, base: Path_) -> None:
    kind, context, given = error["type"], error.get("ctx", {}), error["input"]
    if kind == "quantity":
        tree.report(where, f"'{context['found']}'", context["must"])
    elif kind == "missing":
        tree.report(where[:-1], f"no '{where[-1]}'", f"must have '{where[-1]}'")
    elif kind == "extra_forbidden":
        known = _keys(model, where[len(base) : -1])
        near = nearest(str(where[-1]), known)
        tree.report(where, f"unknown key '{where[-1]}'", f"known here: {', '.join(known)}", near)
    elif kind == "literal_error":
        expected = context["expected"].replace("'", "")
        options = [one.strip() for one in expected.replace(" or ", ", ").split(",")]
        tree.report(where, _show(given), f"must be {expected}", nearest(str(given), options))
    else:
        tree.report(where, _show(given), _SHAPES.get(kind, error["msg"]))


def _show(given: Any) -> str:
    if isinstance(given, Mapping):
        return "a mapping"
    if isinstance(given, list | tuple):
        return f"a list of {len(given)}"
    return f"'{given}'" if given != "" else "nothing"


def _keys(model: type[BaseModel], path: Path_) -> list[str]:
    """The keys that the model at a path inside another takes."""
    for step in path:
        annotation = _field(model, str(step))
        inner = _model_in(annotation)
        if inner is not None:
            model = inner
    return [one.alias or name for name, one in model.model_fields.items()]


def _field(model: type[BaseModel], key: str) -> Any:
    for name, one in model.model_fields.items():
        if key in (name, one.alias):
            return one.annotation
    return None


def _model_in(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for inner in typing.get_args(annotation):
        found = _model_in(inner)
        if found is not None:
            return found
    return None
