"""The wire: tanks, alarms and entries as JSON objects, times in ISO 8601 UTC."""

from collections.abc import Sequence
from typing import Any

from roewatch.alarms.alarm import Alarm, AlarmChange
from roewatch.alarms.notice import Notice, Receipt
from roewatch.judging.judge import Learned
from roewatch.room.journal import JournalEntry
from roewatch.room.moment import iso
from roewatch.room.quantity import KEPT
from roewatch.room.tank import Tank
from roewatch.room.window import RateLimit
from roewatch.views.learned import learned_words
from roewatch.views.outlook import Outlook
from roewatch.views.ports import RefusedView
from roewatch.views.standing import Measured, Standing, alarm_words

Json = dict[str, Any]


def _when(at_ms: int | None) -> str | None:
    return None if at_ms is None else iso(at_ms)


def measured_json(measured: Measured, limits: Sequence[RateLimit] = ()) -> Json:
    """One probe now, against its window and the rate limits of its tank."""
    latest, window = measured.latest, measured.window
    return {
        "probe": measured.probe.id,
        "quantity": measured.quantity,
        "unit": KEPT[measured.quantity].unit,
        "value": latest.value if latest else None,
        "time": _when(latest.at_ms if latest else None),
        "flag": int(latest.flag) if latest else None,
        "low": window.low if window else None,
        "high": window.high if window else None,
        "per_hour": measured.per_hour,
        "limits": [
            {"rise": limit.rise, "fall": limit.fall, "within_s": limit.span_ms / 1000}
            for limit in limits
        ],
        "state": measured.mark,
    }


def standing_json(standing: Standing) -> Json:
    """One tank now."""
    tank = standing.tank
    return {
        "tank": tank.id,
        "name": tank.name,
        "place": {"rack": tank.place.rack, "shelf": tank.place.shelf, "place": tank.place.place},
        "litres": tank.litres,
        "species": tank.species,
        "stage": standing.stage,
        "state": standing.mark,
        "word": standing.word,
        "alarms": [alarm.number for alarm in standing.alarms],
        "probes": [
            measured_json(measured, tank.rates.get(measured.quantity, ()))
            for measured in standing.measured
        ],
    }


def learned_json(tank: Tank, learned: Learned | None) -> Json | None:
    """What is known of a tank's heating; None for a tank without a heater, or unjudged."""
    if learned is None or not tank.heater_watts:
        return None
    return {
        "text": learned_words(tank, learned),
        "cycles": learned.cycles,
        "switches_on": learned.switches_on,
        "switches_off": learned.switches_off,
        "cools_per_hour": learned.cools_per_h,
        "warms_per_hour": learned.warms_per_h,
        "duty": learned.duty,
        "time_constant_h": learned.time_constant_h,
        "room": learned.room_c,
        "room_spread": learned.room_spread,
    }


def outlook_json(probe: str, told: Outlook) -> Json:
    """What to expect of a probe: when it leaves its window or is back, or why nobody can say."""
    crossing = told.crossing
    return {
        "probe": probe,
        "text": told.text,
        "earliest": _when(crossing.earliest_ms if crossing else None),
        "likely": _when(crossing.likely_ms if crossing else None),
        "latest": _when(crossing.latest_ms if crossing else None),
    }


def refused_json(refused: RefusedView) -> Json:
    """Messages of one topic that could not be read."""
    return {
        "topic": refused.topic,
        "count": refused.count,
        "why": refused.why,
        "example": refused.example,
    }


def alarm_json(alarm: Alarm) -> Json:
    """One alarm; the first keys are those `replay` writes."""
    forecast = alarm.forecast
    return {
        "number": alarm.number,
        "time": iso(alarm.changed_ms),
        "tank": alarm.tank,
        "alarm": alarm.kind,
        "quantity": alarm.quantity,
        "priority": alarm.priority,
        "state": alarm.state,
        "value": alarm.value,
        "message": alarm.message,
        "forecast_exit": _when(forecast.likely_ms if forecast else None),
        "title": alarm_words(alarm),
        "window": alarm.window,
        "present": alarm.present,
        "since": iso(alarm.since_ms),
        "raised": iso(alarm.raised_ms),
        "returned": _when(alarm.returned_ms),
        "acknowledged": _when(alarm.acknowledged_ms),
        "acknowledged_by": alarm.acknowledged_by,
        "shelved_until": _when(alarm.shelved_until_ms),
        "shelved_why": alarm.shelved_why,
        "episode": alarm.episode,
        "children": list(alarm.children),
    }


def change_json(change: AlarmChange) -> Json:
    """One step of an alarm's life."""
    return {"time": iso(change.at_ms), "before": change.before, "after": change.alarm.state}


def notice_json(notice: Notice, receipt: Receipt | None) -> Json:
    """One notice and what became of it."""
    return {
        "contact": notice.contact,
        "way": notice.way,
        "about": notice.about,
        "made": iso(notice.made_ms),
        "outcome": receipt.outcome if receipt else None,
        "time": _when(receipt.at_ms if receipt else None),
        "reason": receipt.reason if receipt else "",
        "attempt": receipt.attempt if receipt else 0,
    }


def entry_json(number: int, entry: JournalEntry) -> Json:
    """One deed."""
    return {
        "number": number,
        "time": iso(entry.at_ms),
        "until": _when(entry.until_ms),
        "tank": entry.tank,
        "deed": entry.deed,
        "detail": entry.detail,
    }
