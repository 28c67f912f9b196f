"""A misfit: what a written value fails to satisfy, said as a fault with its place and its cure."""

import copy
import json
import typing
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from roewatch.service.settings.document import Document, did_you_mean
from roewatch.service.settings.lines import KeyPath
from roewatch.service.settings.written import SecretText, span_as_written, veiled

Fitted = TypeVar("Fitted", bound=BaseModel)

_WHAT = {
    "string_type": "must be words in quotes",
    "int_type": "must be a whole number without quotes",
    "int_from_float": "must be a whole number",
    "float_type": "must be a number without quotes",
    "bool_type": "must be true or false, without quotes",
    "list_type": "must be a list, in [ ]",
    "model_type": "must be a table of keys",
    "model_attributes_type": "must be a table of keys",
    "finite_number": "must be a finite number",
    "string_too_short": "must not be empty",
    "too_short": "must not be empty",
}
_BOUNDS = {
    "greater_than": ("gt", "above"),
    "greater_than_equal": ("ge", "at least"),
    "less_than": ("lt", "below"),
    "less_than_equal": ("le", "at most"),
}

_CUTS = 6
"""A key cut out may leave its table lacking it, and that one the next: so deep are settings."""


def fitted(model: type[Fitted], value: Any, document: Document, path: KeyPath) -> Fitted | None:
    """`value` as `model`, after noting in `document` everything that does not fit.

    With faults it is what is left without the faulty keys, so that what they hide can be checked
    as well; None when nothing sensible is left.
    """
    rest = value
    for attempt in range(_CUTS):
        try:
            return model.model_validate(rest)
        except ValidationError as error:
            details = error.errors(include_url=False)
        if attempt == 0:
            rest = copy.deepcopy(value)
            for detail in details:
                _note(document, path, detail, model)
        for detail in details:
            # what lacks a key is of no use without it
            loc = detail["loc"][:-1] if detail["type"] == "missing" else detail["loc"]
            _cut_out(rest, loc)
    return None


def _cut_out(value: Any, loc: KeyPath) -> None:
    """Take the smallest keyed thing that holds `loc` out of `value`, where it still is."""
    for depth in range(len(loc), 0, -1):
        around = value
        for part in loc[: depth - 1]:
            inside = isinstance(around, list) and isinstance(part, int) and part < len(around)
            around = (
                around[part] if inside or (isinstance(around, dict) and part in around) else None
            )
        # out of a list nothing is taken: what follows would change its number
        if isinstance(around, dict):
            around.pop(loc[depth - 1], None)
            return


def _note(document: Document, path: KeyPath, detail: ErrorDetails, model: type[BaseModel]) -> None:
    place: KeyPath = (*path, *detail["loc"])
    kind = detail["type"]
    if kind == "extra_forbidden":
        around = _model_at(model, detail["loc"][:-1])
        known = around.model_fields if around else ()
        document.fault(
            place, f"unknown key {detail['loc'][-1]!r}", did_you_mean(str(detail["loc"][-1]), known)
        )
        return
    field = _field_at(model, detail["loc"])
    key = next((part for part in reversed(place) if isinstance(part, str)), "")
    if kind == "missing":
        document.fault(place, f"no {key}", f"Add {_example(key, field)}")
        return
    if kind == "value_error":
        what, _, cure = str(detail["ctx"]["error"]).partition("; ")
        document.fault(
            place, what, (cure[:1].upper() + cure[1:]) or f"Write {_example(key, field)}"
        )
        return
    document.fault(place, _what(detail, field), f"Write {_example(key, field)}")


def _what(detail: ErrorDetails, field: FieldInfo | None) -> str:
    kind = detail["type"]
    if kind in _BOUNDS:
        name, words = _BOUNDS[kind]
        bound, given = detail["ctx"][name], _shown(detail, field)
        if (
            isinstance(detail["input"], int)
            and field
            and isinstance((field.examples or [0])[0], str)
        ):
            # a span: kept in milliseconds, written with its unit
            given, bound = span_as_written(detail["input"]), span_as_written(bound)
        return f"{given} must be {words} {bound}"
    if kind in _WHAT:
        return f"{_shown(detail, field)} {_WHAT[kind]}"
    if kind == "literal_error":
        return f"{_shown(detail, field)} must be one of {detail['ctx']['expected']}"
    return f"{_shown(detail, field)}: {detail['msg'][:1].lower()}{detail['msg'][1:]}"


def _shown(detail: ErrorDetails, field: FieldInfo | None) -> str:
    """What was written, unless it could be a secret."""
    if field is not None and "SecretText" in str(field.annotation):
        return str(SecretText(""))
    given = detail["input"]
    if detail["type"].startswith("model"):
        return "this"  # words where a table belongs may be an address with a password
    if isinstance(given, str):
        return repr(veiled(given))
    if isinstance(given, int | float) and not isinstance(given, bool):
        return repr(given)[:60]
    return str(given).lower() if isinstance(given, bool) else "this"


def _example(key: str, field: FieldInfo | None) -> str:
    if field is None or not field.examples:
        return f'{key} = "..."'
    return f"{key} = {_toml(field.examples[0])}"


def _toml(value: Any) -> str:
    """A small value as TOML writes it."""
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {_toml(inner)}" for key, inner in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(map(_toml, value)) + "]"
    return json.dumps(value, ensure_ascii=False)


def _field_at(model: type[BaseModel], loc: tuple[str | int, ...]) -> FieldInfo | None:
    keys = [part for part in loc if isinstance(part, str)]
    if not keys:
        return None
    around = _model_at(model, tuple(loc[: len(loc) - 1 - loc[::-1].index(keys[-1])]))
    return around.model_fields.get(keys[-1]) if around else None


def _model_at(model: type[BaseModel], loc: tuple[str | int, ...]) -> type[BaseModel] | None:
    """The model that `loc` leads to from `model`, through lists and optional fields."""
    here: type[BaseModel] | None = model
    for part in loc:
        if isinstance(part, int):
            continue
        if here is None or part not in here.model_fields:
            return None
        here = _model_in(here.model_fields[part].annotation)
    return here


def _model_in(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for inner in typing.get_args(annotation):
        found = _model_in(inner)
        if found is not None:
            return found
    return None
