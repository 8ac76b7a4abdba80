"""Turning what pydantic says into our own problems: line, name, found, must be, nearest."""

from __future__ import annotations

import typing
from collections.abc import Mapping
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from circuitcheck.errors import nearest
from circuitcheck.harness.tree import Path_, Tree

Model = TypeVar("Model", bound=BaseModel)

LONGEST = 80
"""Of what stands in the file, so much is repeated in a report."""
MAX_ERRORS = 100
"""Of one entry; nobody reads on, and each has a search for the nearest right key."""

_SHAPES = {
    "dict_type": "must be a mapping of names to values, such as {name: value}",
    "list_type": "must be a list, such as [S1] or [S1, K1]",
    "tuple_type": "must be a list of two, such as [S1.2, S1.1]",
    "string_type": "must be one word or text",
    "too_short": "must be a list of two, such as [S1.2, S1.1]",
    "too_long": "must be a list of two, such as [S1.2, S1.1]",
}


def build(model: type[Model], data: Any, tree: Tree, path: Path_) -> Model | None:
    """The model, or None with every problem put into the tree."""
    try:
        return model.model_validate(data)
    except ValidationError as error:
        listed = error.errors(include_url=False)[:MAX_ERRORS]
        errors = {(*path, *_inside(one["loc"], data)): one for one in reversed(listed)}
        meant = _misspelt(errors, model, path) | _decimal_commas(errors, tree, data, path)
        for where, one in reversed(errors.items()):
            if where not in meant:
                _report(one, model, tree, where, path)
        return None


def _misspelt(errors: dict[Path_, Any], model: type[BaseModel], base: Path_) -> set[Path_]:
    """Missing keys that stand there in a wrong spelling: the unknown key is report enough."""
    return {
        (*where[:-1], nearest(str(where[-1]), _keys(model, where[len(base) : -1])))
        for where, one in errors.items()
        if one["type"] == "extra_forbidden"
    } & {where for where, one in errors.items() if one["type"] == "missing"}


def _decimal_commas(errors: dict[Path_, Any], tree: Tree, data: Any, base: Path_) -> set[Path_]:
    """``{ohms: 0,40 ohm}`` reads as a key ``40 ohm`` after ``ohms: 0``; reported as what it is."""
    done: set[Path_] = set()
    for where, one in errors.items():
        key = str(where[-1]) if where else ""
        if one["type"] != "extra_forbidden" or one["input"] != "" or not key[:1].isdigit():
            continue
        holder = data
        for step in where[len(base) : -1]:
            holder = holder[step]
        before = list(holder)[: list(holder).index(where[-1])]
        if before and str(holder[before[-1]])[-1:].isdigit():
            place = (*where[:-1], before[-1])
            tree.report(
                place,
                f"'{holder[before[-1]]},{key}'",
                f"must have a decimal point: {holder[before[-1]]}.{key}",
            )
            done |= {where, place}
    return done


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
        tree.report(where, shown(given), context["must"], _key_meant(model, where, base, given))
    elif kind == "missing" and isinstance(where[-1], int):
        tree.report(where[:-1], f"a list of {where[-1]}", _SHAPES["tuple_type"])
    elif kind == "missing":
        tree.report(where[:-1], f"no '{where[-1]}'", f"must have '{where[-1]}'")
    elif kind == "extra_forbidden":
        known = _keys(model, where[len(base) : -1])
        near = nearest(str(where[-1]), known)
        tree.report(where, f"unknown key '{where[-1]}'", f"known here: {', '.join(known)}", near)
    elif kind == "literal_error":
        expected = context["expected"].replace("'", "")
        options = [one.strip() for one in expected.replace(" or ", ", ").split(",")]
        tree.report(where, shown(given), f"must be {expected}", nearest(str(given), options))
    elif kind in ("model_type", "model_attributes_type"):
        tree.report(where, shown(given), _must_hold(model, where[len(base) :]))
    else:
        tree.report(where, shown(given), _SHAPES.get(kind, error["msg"]))


def _must_hold(model: type[BaseModel], path: Path_) -> str:
    """The shape of a mapping by the keys that it must have: ``{closes: ..., opens: ...}``."""
    inner = _model_at(model, path)
    needed = [one.alias or name for name, one in inner.model_fields.items() if one.is_required()]
    keys = needed or _keys(inner, ())[:3]
    return f"must be a mapping: {{{', '.join(f'{key}: ...' for key in keys)}}}"


def _key_meant(model: type[BaseModel], where: Path_, base: Path_, given: Any) -> str:
    """The key of nearly the same name for which the value is one of the words: ``contacts: make``."""
    if len(where) != len(base) + 1:
        return ""
    words = {
        one.alias or name: typing.get_args(one.annotation) for name, one in model.model_fields.items()
    }
    near = nearest(str(where[-1]), [key for key, known in words.items() if str(given) in known])
    return f"{near}: {given}" if near else ""


def shown(given: Any) -> str:
    """What stands in the file, to follow 'found'."""
    if isinstance(given, Mapping):
        return "a mapping"
    if isinstance(given, list | tuple):
        return f"a list of {len(given)}"
    if given == "":
        return "nothing"
    text = str(given)
    return f"'{text}'" if len(text) <= LONGEST else f"'{text[:LONGEST]}...'"


def _keys(model: type[BaseModel], path: Path_) -> list[str]:
    """The keys that the model at a path inside another takes."""
    inner = _model_at(model, path)
    return [one.alias or name for name, one in inner.model_fields.items()]


def _model_at(model: type[BaseModel], path: Path_) -> type[BaseModel]:
    """The model at a path inside another, or the nearest around it."""
    for step in path:
        model = _model_in(_field(model, str(step))) or model
    return model


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
