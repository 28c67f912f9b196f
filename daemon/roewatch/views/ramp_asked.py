"""What is asked of a ramp, as texts, and the ramp drawn from it: for the page and for scripts."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from zoneinfo import ZoneInfo

from roewatch.breeding import ramp as ramps
from roewatch.breeding.pace import Followed, paces
from roewatch.breeding.ramp import Ramp, RampWish
from roewatch.room.journal import Deed, JournalEntry
from roewatch.room.moment import DAY_MS, MINUTE_MS, moment_of
from roewatch.room.quantity import Quantity
from roewatch.room.tank import Tank
from roewatch.room.window import Window
from roewatch.views.asked import AskedWrongError
from roewatch.views.axis import instants
from roewatch.views.pages import Desk
from roewatch.views.sight import Sight
from roewatch.views.typed import number_of, shown_text
from roewatch.views.units import Of, Units
from roewatch.views.water_page import MEASURES, poured, rows_of
from roewatch.water.blend import Blend, pour
from roewatch.water.hardness import meq_of_dkh
from roewatch.water.refusal import RefusedError
from roewatch.water.source import SourceWater

_LONGEST = 40
_DAYS = "14"
_LARGEST_SHARE = 0.30
_NOW = ("ph", "t", "us", "gh", "kh")
RAMP_MEASURES = MEASURES | {
    "now_t": Of.WARMTH,
    "to_t": Of.WARMTH,
    "now_gh": Of.HARDNESS,
    "now_kh": Of.HARDNESS,
    "to_gh": Of.HARDNESS,
    "to_kh": Of.HARDNESS,
}
"""By field of the form, what it measures."""

_MEASURED = {"ph": Quantity.PH, "t": Quantity.TEMPERATURE, "us": Quantity.CONDUCTIVITY}


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """The fields of the form, as text in kept units, so that nothing typed is lost."""

    tank: Tank
    now: Mapping[str, str]
    low: str
    high: str
    us: str
    gh: str
    kh: str
    celsius: str
    days: str
    swing: str
    first: str

    def shown(self, units: Units) -> "Wanted":
        """The same as the form shows it to somebody who reads in other units."""
        hard, warm = Of.HARDNESS, Of.WARMTH
        now = {"t": warm, "gh": hard, "kh": hard}
        return replace(
            self,
            now={
                key: shown_text(text, now[key], units) if key in now else text
                for key, text in self.now.items()
            },
            gh=shown_text(self.gh, hard, units),
            kh=shown_text(self.kh, hard, units),
            celsius=shown_text(self.celsius, warm, units),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """A safe ramp, and the vat its water comes from."""

    ramp: Ramp
    vat: Blend
    kept: tuple[str, ...]


def _now_texts(sight: Sight, tank_id: str) -> dict[str, str]:
    """What the probes say now, to be corrected by whoever measured better."""
    latest = {
        m.quantity: m.latest.value
        for m in sight.of(tank_id).measured
        if m.latest is not None and not m.silent and not m.doubted
    }
    digits = {"ph": 2, "t": 1, "us": 0}
    return {
        key: f"{latest[quantity]:.{digits[key]}f}"
        for key, quantity in _MEASURED.items()
        if quantity in latest
    }


def wanted_of(sight: Sight, query: Mapping[str, str]) -> Wanted:
    """The form as asked for. Raises NotHereError for an unknown tank."""
    tank = sight.of(query["for"]).tank
    told = _now_texts(sight, tank.id)

    def typed(name: str, usual: str = "") -> str:
        return query.get(name, usual).strip()[:_LONGEST]

    window = tank.windows.get(Quantity.PH)
    low = f"{window.low:g}" if window and window.low is not None else ""
    high = f"{window.high:g}" if window and window.high is not None else ""
    return Wanted(
        tank=tank,
        now={key: typed(f"now_{key}", told.get(key, "")) for key in _NOW},
        low=typed("to_low", low),
        high=typed("to_high", high),
        us=typed("to_us"),
        gh=typed("to_gh"),
        kh=typed("to_kh"),
        celsius=typed("to_t"),
        days=typed("days", _DAYS),
        swing=typed("swing"),
        first=typed("first"),
    )


def _number(text: str, what: str) -> float | None:
    return number_of(text, what) if text else None


def _needed(text: str, what: str) -> float:
    if not text:
        raise RefusedError(f"{what} is missing; measure it and type it in.")
    return number_of(text, what)


def _first_ms(text: str, now_ms: int, zone: str) -> int:
    """The first change: the next time the room's clock shows that; else within the hour."""
    if not text:
        return (now_ms // (30 * MINUTE_MS) + 1) * 30 * MINUTE_MS
    local = moment_of(now_ms).astimezone(ZoneInfo(zone))
    try:
        hour, _, minute = text.partition(":")
        wall = local.replace(
            tzinfo=None, hour=int(hour), minute=int(minute or 0), second=0, microsecond=0
        )
    except ValueError as fault:
        raise RefusedError(f"first change: {text!r} is no time of day; write it like 18:00.") from (
            fault
        )
    at_ms = instants(wall, ZoneInfo(zone))[0][0]
    return at_ms if at_ms > now_ms else at_ms + DAY_MS


def _targets(wanted: Wanted) -> dict[Followed, Window]:
    found = {}
    if wanted.low or wanted.high:
        low, high = _number(wanted.low, "pH from"), _number(wanted.high, "pH to")
        found[Followed.PH] = Window(low=low, high=high)
    for text, followed, what in (
        (wanted.us, Followed.CONDUCTIVITY, "conductivity at most"),
        (wanted.gh, Followed.HARDNESS, "dGH at most"),
        (wanted.kh, Followed.CARBONATE, "KH at most"),
    ):
        if text:
            found[followed] = Window(low=None, high=number_of(text, what))
    return found


def drawn(wanted: Wanted, query: Mapping[str, str], now_ms: int, zone: str) -> Drawn:
    """The ramp asked for. Raises RefusedError with the reason, RampRefusedError with a safe one."""
    now = SourceWater(
        name=wanted.tank.id,
        celsius=_needed(wanted.now["t"], "temperature of the tank"),
        alkalinity=meq_of_dkh(_needed(wanted.now["kh"], "KH of the tank")),
        ph=_number(wanted.now["ph"], "pH of the tank"),
        dgh=_number(wanted.now["gh"], "dGH of the tank") or 0.0,
        conductivity=_number(wanted.now["us"], "conductivity of the tank"),
    )
    vat = pour(poured(rows_of(query)), celsius=now.celsius)
    days = number_of(wanted.days, "days")
    if days != int(days):
        raise RefusedError(f"days: {wanted.days!r} is no whole number.")
    wish = RampWish(
        tank=wanted.tank.id,
        litres=wanted.tank.litres,
        now=now,
        # the vat is aired before use; straight from mixing its CO2 would dip the tank's pH
        recipe=replace(vat.makeup, dic=vat.aired.dic),
        targets=_targets(wanted),
        celsius=_number(wanted.celsius, "temperature at the end"),
        paces=paces(wanted.tank.stage, wanted.tank.rates),
        first_ms=_first_ms(wanted.first, now_ms, zone),
        days=int(days),
        ph_swing=_number(wanted.swing, "swing of pH within a day") or 0.0,
        largest_change=_LARGEST_SHARE,
    )
    kept = tuple(pace.text() for pace in wish.left_for_steps().paces)
    return Drawn(ramp=ramps.draw(wish), vat=vat, kept=kept)


@dataclass(frozen=True, slots=True, kw_only=True)
class Preview:
    """What came of drawing a ramp: the one asked for, or why not and the shortest safe one."""

    found: Drawn | None = None
    refusal: str = ""
    shortest: Ramp | None = None

    @property
    def ramp(self) -> Ramp | None:
        """The ramp to be shown."""
        return self.found.ramp if self.found else self.shortest


def previewed(wanted: Wanted, query: Mapping[str, str], now_ms: int, zone: str) -> Preview:
    """The ramp asked for, where a refusal is an answer too."""
    try:
        return Preview(found=drawn(wanted, query, now_ms, zone))
    except ramps.RampRefusedError as fault:
        return Preview(refusal=str(fault), shortest=fault.shortest)
    except RefusedError as fault:
        return Preview(refusal=str(fault))


def mix_words(vat: Blend) -> str:
    """`85 % rain, 15 % tap`."""
    total = sum(vat.litres)
    return ", ".join(
        f"{100 * litres / total:.0f} % {source.name}"
        for litres, source in zip(vat.litres, vat.sources, strict=True)
    )


def start(desk: Desk, fields: Mapping[str, str], by: str) -> str:
    """Put the ramp's plan on the tank's charts, and say so in its records; returns what to tell.

    fields: in kept units. Raises AskedWrongError for a ramp that cannot be.
    """
    sight = desk.lookout.look()
    wanted = wanted_of(sight, fields)
    try:
        found = drawn(wanted, fields, sight.now_ms, sight.room.zone)
    except RefusedError as fault:
        raise AskedWrongError(f"No ramp was started: {fault}") from fault
    plans = found.ramp.plans()
    if not plans:
        raise AskedWrongError("The tank is at its target already; nothing was started.")
    tank = wanted.tank.id
    note = f"ramp started by {by}: {len(found.ramp.steps)} days, {mix_words(found.vat)}"
    entry = JournalEntry(at_ms=sight.now_ms, tank=tank, deed=Deed.NOTE, detail=note[:300])
    desk.deeds.plan(plans, entry)
    return f"The ramp runs in {tank}; its plan is on the charts."


def give_up(desk: Desk, tank_id: str, by: str) -> str:
    """Give up what is planned for a tank; returns what to tell."""
    sight = desk.lookout.look()
    tank = sight.of(tank_id).tank.id
    ahead = [plan for plan in desk.records.plans(tank) if plan.steps[-1].at_ms > sight.now_ms]
    if not ahead:
        raise AskedWrongError(f"{tank} follows no plan just now.")
    note = f"plan given up by {by}"
    entry = JournalEntry(at_ms=sight.now_ms, tank=tank, deed=Deed.NOTE, detail=note)
    desk.deeds.give_up(ahead, entry)
    return f"{tank} follows no plan any more."
