"""Metrics: the room for another program to scrape, in OpenMetrics text.

Format: OpenMetrics 1.0, prometheus.io/docs/specs/om/open_metrics_spec. One family a quantity,
because a family has one unit.
"""

from collections.abc import Iterable, Sequence

from roewatch.alarms.alarm import State
from roewatch.room.kind import Priority
from roewatch.room.quantity import Quantity
from roewatch.views.ports import RefusedView
from roewatch.views.sight import Sight

MEDIA_TYPE = "application/openmetrics-text; version=1.0.0; charset=utf-8"

_UNITS = {
    Quantity.TEMPERATURE: "celsius",
    Quantity.CONDUCTIVITY: "microsiemens_per_centimetre",
    Quantity.OXYGEN: "milligrams_per_litre",
    Quantity.LEVEL: "millimetres",
    Quantity.FLOW: "litres_per_hour",
    Quantity.LIGHT: "lux",
    Quantity.HUMIDITY: "percent",
    Quantity.AMMONIA_TOTAL: "milligrams_per_litre",
    Quantity.POWER: "watts",
    Quantity.AMMONIA_FREE: "milligrams_per_litre",
    Quantity.OXYGEN_PERCENT: "percent",
    Quantity.DIOXIDE: "milligrams_per_litre",
}


def _quoted(text: str) -> str:
    return text.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n")


def _sample(name: str, value: float | int, **labels: str) -> str:
    inner = ",".join(f'{key}="{_quoted(text)}"' for key, text in labels.items())
    return f"{name}{{{inner}}} {value}" if inner else f"{name} {value}"


def _family(name: str, kind: str, told: str, samples: Iterable[str], unit: str = "") -> list[str]:
    lines = [f"# TYPE {name} {kind}"]
    lines += [f"# UNIT {name} {unit}"] if unit else []
    return [*lines, f"# HELP {name} {told}", *samples]


def metrics(sight: Sight, refused: Sequence[RefusedView]) -> str:
    """The room now: newest values, their age, alarms by priority and state, what was refused."""
    lines: list[str] = []
    probes = [(s.tank.id, m) for s in sight.standings for m in s.measured]
    for quantity in Quantity:
        unit = _UNITS.get(quantity, "")
        name = f"roewatch_{quantity.value}" + (f"_{unit}" if unit else "")
        samples = [
            _sample(name, m.latest.value, tank=tank, probe=m.probe.id, flag=str(int(m.latest.flag)))
            for tank, m in probes
            if m.quantity is quantity and m.latest is not None
        ]
        if samples:
            lines += _family(name, "gauge", "Newest calibrated value.", samples, unit)
    name = "roewatch_reading_age_seconds"
    lines += _family(
        name,
        "gauge",
        "Age of the newest reading.",
        [
            _sample(name, (sight.now_ms - m.latest.at_ms) / 1000, tank=tank, probe=m.probe.id)
            for tank, m in probes
            if m.latest is not None
        ],
        "seconds",
    )
    lines += _alarms(sight)
    name = "roewatch_link_live"
    live = int(sight.link.word == "live")
    lines += _family(name, "gauge", "1 while the broker is heard.", [_sample(name, live)])
    name = "roewatch_payloads_refused"
    lines += _family(
        name,
        "counter",
        "Messages that could not be read.",
        [_sample(f"{name}_total", view.count, topic=view.topic) for view in refused],
    )
    return "\n".join([*lines, "# EOF", ""])


def _alarms(sight: Sight) -> list[str]:
    name = "roewatch_alarms"
    states = (State.UNACKNOWLEDGED, State.ACKNOWLEDGED, State.RETURNED, State.SHELVED)
    loud = (Priority.HIGH, Priority.MEDIUM, Priority.LOW)
    samples = [
        _sample(
            name,
            sum(a.priority is priority and a.state is state for a in sight.alarms),
            priority=priority,
            state=state,
        )
        for priority in loud
        for state in states
    ]
    return _family(name, "gauge", "Open alarms by priority and state.", samples)
