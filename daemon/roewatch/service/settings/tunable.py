"""A tunable: one number a thinker goes by, as the keeper writes it.

The thinkers' own dataclasses (`Limits`, `TellingSettings`) say what there is and what it is by
default; the sections are made from them, so that neither can lag behind the other. A span
`on_delay_ms` is written `on_delay = "4 min"`, a time of day `well_at_min` is `well_at = "08:00"`.
"""

from dataclasses import Field as DataField
from dataclasses import fields
from typing import Annotated, Any

from pydantic import BeforeValidator, Field, create_model

from roewatch.service.settings.written import (
    Section,
    SpanMs,
    minutes_of_clock,
    span_as_written,
)

_SPAN, _CLOCK = "_ms", "_min"


def _daily(value: Any) -> int | None:
    if value == "never":
        return None
    try:
        return minutes_of_clock(value if isinstance(value, str) else repr(value))
    except ValueError as error:
        raise ValueError(f"{error}; or never") from None


DailyMin = Annotated[int | None, BeforeValidator(_daily)]
"""Written `08:00` or `never`; kept in minutes since local midnight."""


def key_of(name: str) -> str:
    """What the settings file calls the dataclass field `name`."""
    return name.removesuffix(_SPAN).removesuffix(_CLOCK)


def clock_text(minutes: int | None) -> str:
    """A time of day as the settings write it: `08:00` or `never`."""
    return "never" if minutes is None else f"{minutes // 60:02}:{minutes % 60:02}"


def _definitions(tunable: "DataField[Any]") -> dict[str, Any]:
    """The model fields for one dataclass field. Raises TypeError for a kind not thought of."""
    name, default = tunable.name, tunable.default
    key = key_of(name)
    if name.endswith(_SPAN) and isinstance(default, tuple):
        shown: Any = [span_as_written(span_ms) for span_ms in default]
        return {key: (list[SpanMs], Field(default=list(default), min_length=1, examples=[shown]))}
    if name.endswith(_SPAN) and isinstance(default, int):
        return {key: (SpanMs, Field(default=default, examples=[span_as_written(default)]))}
    if name.endswith(_CLOCK):
        shown = clock_text(default if isinstance(default, int) else None)
        return {key: (DailyMin, Field(default=default, examples=[shown]))}
    if isinstance(default, bool):
        return {key: (bool, Field(default=default, examples=[default]))}
    if isinstance(default, int | float):
        most = 1.0 if name.endswith("_share") else None
        return {key: (type(default), Field(default=default, gt=0, le=most, examples=[default]))}
    raise TypeError(f"{name} = {default!r}: no way to write this in a settings file is known yet")


def section_of(name: str, kind: type, *, apart: frozenset[str] = frozenset()) -> type[Section]:
    """The section made from the dataclass `kind`; the fields in `apart` are set some other way."""
    written: dict[str, Any] = {}
    for tunable in fields(kind):
        if tunable.name not in apart:
            written |= _definitions(tunable)
    model: type[Section] = create_model(name, __base__=Section, **written)
    return model


def values_of(written: Section, kind: type) -> dict[str, Any]:
    """The keyword arguments for `kind` that a checked section stands for."""
    given: dict[str, Any] = {}
    for tunable in fields(kind):
        key = key_of(tunable.name)
        if key not in type(written).model_fields:
            continue
        value = getattr(written, key)
        given[tunable.name] = tuple(value) if isinstance(value, list) else value
    return given
