"""Wear: what only days show of a tank's heating: it works harder, its switch points creep."""

from statistics import median
from typing import TYPE_CHECKING, Any, Final

from roewatch.judging.finding import Finding
from roewatch.judging.standing import Seen
from roewatch.room.kind import Kind
from roewatch.room.measured import warmer
from roewatch.room.moment import DAY_MS
from roewatch.room.quantity import Quantity

if TYPE_CHECKING:
    from roewatch.judging.heat import Heat

_T: Final = Quantity.TEMPERATURE


class Wear:
    """One tank's last days. `days` must survive a restart: [day, upper, lower, duty] of each.

    day: the last of them, -1 before the first.
    """

    __slots__ = ("day", "days", "heat")

    def __init__(self, heat: "Heat") -> None:
        self.heat = heat
        self.days: list[list[Any]] = []
        self.day = -1

    def load(self, days: list[list[Any]]) -> None:
        """Take over the days of a saved state."""
        self.days = days
        self.day = days[-1][0] if days else -1

    def bucket(self, at_ms: int, value: float, out: list[Finding]) -> None:
        """Five more minutes; once a day they are looked at."""
        cycle, day = self.heat.cycle, at_ms // DAY_MS
        if day == self.day:
            return
        self.day = day
        self.days.append([day, cycle.upper, cycle.lower, cycle.duty()])
        del self.days[:-8]
        self._judge_work(at_ms, out)
        self._judge_drift(at_ms, value, out)

    def _judge_work(self, at_ms: int, out: list[Finding]) -> None:
        """For the digest: does the heater work harder than some days ago?"""
        before = [day[3] for day in self.days[:-2] if day[3] is not None]
        now = self.days[-1][3]
        if len(before) < 2 or now is None:
            return
        usual = median(before)
        more, least = now - usual, self.heat.limits.works_harder
        said = f"the heater is on {now:.0%} of the time, some days ago {usual:.0%}"
        seen = Seen(
            kind=Kind.HEATER_WORKS_HARDER, quantity=_T, since_ms=at_ms - DAY_MS,
            value=self.heat.witness.f, message=said,
            window=self.heat.window.text(1) if self.heat.window else "", step=0.5,
        )  # fmt: skip
        if more > least:
            self.heat.standing.see(at_ms, seen, out)
        elif more < least / 2:
            self.heat.standing.end(at_ms, seen, out)

    def _judge_drift(self, at_ms: int, value: float, out: list[Finding]) -> None:
        """Do both switch points creep the same way, day by day?"""
        days = self.days
        for back in range(2, len(days)):
            steps = [
                (now[1] - then[1], now[2] - then[2])
                for then, now in zip(days[-back - 1 : -1], days[-back:], strict=True)
            ]
            sign = 1 if steps[-1][0] > 0 else -1
            creeps = all(sign * up > 0.03 and sign * down > 0.03 for up, down in steps)
            total = min(
                abs(sum((up for up, _ in steps), 0.0)), abs(sum((down for _, down in steps), 0.0))
            )
            jump = max(abs(up) for up, _ in steps) > 0.6
            far = total > self.heat.limits.drift_celsius
            if creeps and far and not jump and not self.heat.knob:
                said = (
                    f"both switch points have crept {warmer(sign * total, '+.1f')} in {back} days; "
                    "the probe or the thermostat drifts, check with a hand thermometer"
                )
                drifts = self._drift(at_ms - back * DAY_MS, value, said)
                self.heat.standing.see(at_ms, drifts, out)
                return
        if len(days) > 2 and max(abs(days[-1][n] - days[-2][n]) for n in (1, 2)) < 0.05:
            over = self._drift(at_ms, value, "the switch points hold still again")
            self.heat.standing.end(at_ms, over, out)

    def _drift(self, since_ms: int, value: float, message: str) -> Seen:
        return Seen(
            kind=Kind.PROBE_DRIFTING, quantity=_T, probe=self.heat.witness.id, since_ms=since_ms,
            value=value, message=message, step=0.2,
        )  # fmt: skip
