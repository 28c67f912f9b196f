"""`[judging]`: the judge's own tunables, under the same names, spans written with their unit."""

from dataclasses import MISSING, fields
from typing import Any

from pydantic import Field, create_model

from roewatch.judging.limits import Limits
from roewatch.room.moment import span_text
from roewatch.service.settings.written import Section, SpanMs

_SPAN_ENDS = "_ms"


def _field(name: str, default: Any) -> tuple[str, tuple[Any, Any]]:
    """A limit as a settings field: `on_delay_ms` is written `on_delay = "4 min"`."""
    if name.endswith(_SPAN_ENDS):
        shown = span_text(default)
        return name.removesuffix(_SPAN_ENDS), (SpanMs, Field(default=default, examples=[shown]))
    most = 1.0 if name.endswith("_share") else None
    kind = type(default)
    return name, (kind, Field(default=default, gt=0, le=most, examples=[default]))


def _limits_model() -> type[Section]:
    written: dict[str, Any] = {}
    for limit in fields(Limits):
        if limit.default is MISSING or isinstance(limit.default, bool):
            raise TypeError(f"judging limit {limit.name} needs a plain number as its default")
        key, definition = _field(limit.name, limit.default)
        written[key] = definition
    model: type[Section] = create_model("JudgingSettings", __base__=Section, **written)
    return model


JudgingSettings = _limits_model()
"""One field for each field of `Limits`, made from it, so that neither can lag behind the other."""


def limits_of(judging: Section) -> Limits:
    """The judge's limits as a checked `[judging]` sets them."""
    given = {}
    for limit in fields(Limits):
        given[limit.name] = getattr(judging, limit.name.removesuffix(_SPAN_ENDS))
    return Limits(**given)
