"""A pace: how fast the water of a stage may move, in each of the five numbers a plan follows."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

from roewatch.room.measured import apart
from roewatch.room.moment import DAY_MS, HOUR_MS, span_text
from roewatch.room.quantity import Quantity
from roewatch.room.stage import YOUNG, Stage
from roewatch.room.window import Basis, RateLimit


class Followed(StrEnum):
    """What a ramp follows. The text value is how a keeper writes it short."""

    PH = "pH"
    CONDUCTIVITY = "µS/cm"
    HARDNESS = "dGH"
    CARBONATE = "dKH"
    TEMPERATURE = "°C"

    @property
    def named(self) -> str:
        """What it is called where its unit stands beside the number."""
        return _NAMED[self][0]

    @property
    def unit(self) -> str:
        """`°C`, `°dKH`; empty for pH."""
        return _NAMED[self][1]


_NAMED = {
    Followed.PH: ("pH", ""),
    Followed.CONDUCTIVITY: ("conductivity", "µS/cm"),
    Followed.HARDNESS: ("GH", "°dGH"),
    Followed.CARBONATE: ("KH", "°dKH"),
    Followed.TEMPERATURE: ("temperature", "°C"),
}

_FOLLOWED = {
    Quantity.PH: Followed.PH,
    Quantity.CONDUCTIVITY: Followed.CONDUCTIVITY,
    Quantity.TEMPERATURE: Followed.TEMPERATURE,
}


class WaterState(NamedTuple):
    """The five numbers of a tank at one moment, in the order of `Followed`.

    conductivity: µS/cm at 25 °C, None if unknown.
    """

    ph: float
    conductivity: float | None
    dgh: float
    dkh: float
    celsius: float

    def of(self, followed: Followed) -> float | None:
        """One of the five."""
        return self[_PLACE[followed]]


_PLACE = {followed: place for place, followed in enumerate(Followed)}


class Moment(NamedTuple):
    """What the water is, or is meant to be, at `at_ms`."""

    at_ms: int
    state: WaterState


@dataclass(frozen=True, slots=True, kw_only=True)
class Pace:
    """The most one number may rise or fall within `span_ms`.

    rise, fall: in the number's own unit, or as a share of the earlier value when `of_value`.
    least: with `of_value`, a move this small in the number's own unit is always allowed.
    """

    followed: Followed
    span_ms: int
    rise: float
    fall: float
    of_value: bool = False
    least: float = 0.0
    basis: Basis = Basis.COMMON_PRACTICE
    source: str = ""

    def __post_init__(self) -> None:
        if self.span_ms <= 0 or not self.rise > 0.0 or not self.fall > 0.0:
            raise ValueError(f"pace of {self.followed}: span, rise and fall must be above zero")

    def allowed(self, earlier: float) -> tuple[float, float]:
        """(most rise, most fall) from `earlier`, in the number's own unit."""
        if not self.of_value:
            return self.rise, self.fall
        return max(self.rise * earlier, self.least), max(self.fall * earlier, self.least)

    def strain(self, earlier: float, later: float) -> float:
        """The move as a share of what is allowed; above 1 the pace is broken."""
        rise, fall = self.allowed(earlier)
        return (later - earlier) / rise if later > earlier else (earlier - later) / fall

    def within(self, other: "Pace") -> bool:
        """Whether keeping this pace keeps the other too, so that it need not be named."""
        return (
            self.span_ms == other.span_ms
            and self.of_value == other.of_value
            and self.rise <= other.rise
            and self.fall <= other.fall
        )

    def text(self) -> str:
        """For people: `pH at most 0.3 up and at most 0.2 down in 24 h`."""
        unit = self.followed.unit
        if self.of_value:
            up, down = f"{100 * self.rise:g} %", f"{100 * self.fall:g} %"
        else:
            up, down = apart(f"{self.rise:g}", unit), apart(f"{self.fall:g}", unit)
        always = ""
        if self.of_value and self.least:
            least = apart(f"{self.least:g}", unit)
            always = f" ({least} is always allowed; that figure is our own)"
        span = span_text(self.span_ms)
        return f"{self.followed.named} at most {up} up and at most {down} down in {span}{always}"

    def eased(self, share: float) -> "Pace":
        """The same pace, slower by `share` (0-1]."""
        return Pace(
            followed=self.followed,
            span_ms=self.span_ms,
            rise=self.rise * share,
            fall=self.fall * share,
            of_value=self.of_value,
            least=self.least * share,
            basis=self.basis,
            source=self.source,
        )


_CP = "common practice among keepers; no study behind it was found"
_OWN = "our own caution; nothing published was found"
_LEAST_US = 5.0  # our own: a share of next to nothing is less than a meter can tell


def _cautious(young: bool) -> dict[Followed, tuple[Pace, ...]]:
    share = 0.10 if young else 0.15
    warmth: tuple[Pace, ...]
    if young:
        warmth = (
            Pace(followed=Followed.TEMPERATURE, span_ms=HOUR_MS, rise=0.5, fall=0.5, source=_CP),
            Pace(followed=Followed.TEMPERATURE, span_ms=DAY_MS, rise=1.0, fall=1.0, source=_CP),
        )
    else:
        warmth = (
            Pace(followed=Followed.TEMPERATURE, span_ms=HOUR_MS, rise=1.0, fall=1.0, source=_CP),
            Pace(
                followed=Followed.TEMPERATURE,
                span_ms=DAY_MS,
                rise=2.0,
                fall=1.0,
                basis=Basis.PUBLISHED,
                source="Maintenance of water quality for healthy fish, teaching text, n.y.",
            ),
        )
    ph = 0.2 if young else 0.3
    hard = 1.0 if young else 2.0
    return {
        Followed.PH: (
            Pace(followed=Followed.PH, span_ms=DAY_MS, rise=ph, fall=min(ph, 0.2), source=_CP),
        ),
        Followed.TEMPERATURE: warmth,
        Followed.CONDUCTIVITY: (
            Pace(
                followed=Followed.CONDUCTIVITY, span_ms=DAY_MS, rise=share, fall=share,
                of_value=True, least=_LEAST_US, source=_CP,
            ),
        ),
        Followed.HARDNESS: (
            Pace(
                followed=Followed.HARDNESS, span_ms=DAY_MS, rise=hard, fall=hard,
                basis=Basis.ASSUMED, source=_OWN,
            ),
        ),
        Followed.CARBONATE: (
            Pace(
                followed=Followed.CARBONATE, span_ms=DAY_MS, rise=hard / 2.0, fall=hard / 2.0,
                basis=Basis.ASSUMED, source=_OWN,
            ),
        ),
    }  # fmt: skip


def paces(
    stage: Stage, rates: Mapping[Quantity, Sequence[RateLimit]] | None = None
) -> tuple[Pace, ...]:
    """The paces of a tank's plans: the cautious ones, and within its own rate limits.

    A species sheet's limits are where alarms begin, so a plan keeps to them *and* to what keepers
    plan by; a limit the keeper set himself stands alone for its quantity. Hardness and alkalinity
    have no probe, so theirs are always the cautious ones.
    rates: as `Tank.rates`, resolved for the stage.
    """
    found = _cautious(stage in YOUNG)
    for quantity, limits in (rates or {}).items():
        followed = _FOLLOWED.get(quantity)
        if followed is None or not limits:
            continue
        own = tuple(
            Pace(
                followed=followed,
                span_ms=limit.span_ms,
                rise=limit.rise,
                fall=limit.fall,
                basis=limit.basis,
                source=limit.source,
            )
            for limit in limits
        )
        if any(limit.basis is Basis.KEEPER for limit in limits):
            found[followed] = own
            continue
        cautious = found[followed]
        found[followed] = cautious + tuple(
            pace for pace in own if not any(other.within(pace) for other in cautious)
        )
    return tuple(pace for group in found.values() for pace in group)


class Strain(NamedTuple):
    """The move that leans hardest on a pace. share: of what is allowed; above 1 it is broken."""

    share: float
    pace: Pace
    earlier: Moment
    later: Moment

    @property
    def breaks(self) -> bool:
        """Whether the pace is broken; rounding is forgiven."""
        return self.share > 1.0 + 1e-9


def hardest(earlier: Sequence[Moment], later: Moment, paces_kept: Sequence[Pace]) -> Strain | None:
    """The pace the step to `later` leans on hardest, against every earlier moment in its span.

    earlier: in order of time. Moments exactly one span apart count. None when nothing compares.
    """
    found: Strain | None = None
    for pace in paces_kept:
        value = later.state.of(pace.followed)
        if value is None:
            continue
        for moment in reversed(earlier):
            if moment.at_ms < later.at_ms - pace.span_ms:
                break
            before = moment.state.of(pace.followed)
            if before is None:
                continue
            share = pace.strain(before, value)
            if found is None or share > found.share:
                found = Strain(share, pace, moment, later)
    return found
