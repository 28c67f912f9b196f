"""A simulated probe: what it says about the water, its noise, its steps, and its failings."""

from dataclasses import dataclass
from math import exp
from random import Random
from typing import NamedTuple

from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS
from roewatch.room.quantity import Quantity
from roewatch_sim.fault import FaultKind, SimFault


class Surroundings(NamedTuple):
    """What a probe meets at one moment: the truth in its water, the air, and the other tank."""

    at_ms: int
    truth: float
    air_c: float
    water_c: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ProbeSpec:
    """How a probe reports. noise: sd in kept units, but a share of the value for conductivity.

    step: its resolution. offset: constant error. drift_per_day: its slow ordinary drift.
    """

    noise: float
    step: float
    offset: float = 0.0
    drift_per_day: float = 0.0
    relative: bool = False


RESOLUTION = {
    Quantity.TEMPERATURE: 0.0625,
    Quantity.PH: 0.01,
    Quantity.CONDUCTIVITY: 0.1,
}
"""The smallest step each sort of probe reports, in the kept unit."""


def thermometer(random: Random) -> ProbeSpec:
    """Like a digital one-wire sensor at 12 bits: steps of 1/16 K, noise 0.03-0.06 K."""
    return ProbeSpec(noise=random.uniform(0.03, 0.06), step=0.0625, offset=random.gauss(0, 0.08))


def glass_electrode(random: Random) -> ProbeSpec:
    """Noise 0.005-0.02 pH, steps of 0.01, and a drift of a few thousandths a day."""
    return ProbeSpec(
        noise=random.uniform(0.005, 0.02), step=0.01,
        offset=random.gauss(0, 0.02), drift_per_day=random.gauss(0, 0.002),
    )  # fmt: skip


def conductivity_cell(random: Random) -> ProbeSpec:
    """Compensated to 25 °C; half a per cent of noise, steps of 0.1 µS/cm."""
    return ProbeSpec(noise=0.005, step=0.1, offset=random.gauss(0, 0.5), relative=True)


_MAKERS = {
    Quantity.TEMPERATURE: thermometer,
    Quantity.PH: glass_electrode,
    Quantity.CONDUCTIVITY: conductivity_cell,
}

_DRY_MINUTES = 4.0  # time constant of a wet sensor hanging in air
_NOISY = {Quantity.TEMPERATURE: 0.6, Quantity.PH: 0.25}
_DRIFTS = {Quantity.TEMPERATURE: 0.2, Quantity.PH: 0.1}
_DRY_ELECTRODE_PH = 7.0  # a glass electrode without water tends to no voltage, and wanders


class SimProbe:
    """One probe on one tank. `ailing` holds the faults in force."""

    def __init__(
        self,
        tank: str,
        quantity: Quantity,
        seed: str,
        *,
        since_ms: int,
        spec: ProbeSpec | None = None,
    ) -> None:
        self.tank, self.quantity = tank, quantity
        self._random = Random(seed)
        self.spec = spec or _MAKERS[quantity](self._random)
        self.since_ms = since_ms  # drift counts from the last calibration
        self.ailing: list[SimFault] = []
        self._per_step = round(1 / self.spec.step)
        self._held: float | None = None
        self._last_said: float | None = None

    def calibrate(self, at_ms: int) -> None:
        """The keeper has set it right: offset and drift begin again near nothing."""
        self.since_ms = at_ms
        self.spec = ProbeSpec(
            noise=self.spec.noise, step=self.spec.step, offset=self._random.gauss(0, 0.01),
            drift_per_day=self.spec.drift_per_day, relative=self.spec.relative,
        )  # fmt: skip

    def read(self, at_ms: int, truth: float, air_c: float, water_c: float) -> float | None:
        """What it reports at `at_ms`; None when it says nothing."""
        spec = self.spec
        noise = spec.noise * truth if spec.relative else spec.noise
        value = (
            truth + spec.offset + spec.drift_per_day * (at_ms - self.since_ms) / DAY_MS
            + self._random.gauss(0.0, noise)
        )  # fmt: skip
        if self.ailing:
            around = Surroundings(at_ms, truth, air_c, water_c)
            for fault in self.ailing:
                spoiled = self._spoil(fault, value, around)
                if spoiled is None:
                    return None
                value = spoiled
        said = round(value * self._per_step) / self._per_step
        self._last_said = said
        return said

    def own_ms(self, at_ms: int) -> int | None:
        """What its board's clock shows at `at_ms`; None while it shows just that."""
        for fault in self.ailing:
            match fault.kind:
                case FaultKind.PROBE_CLOCK_BACK:
                    return at_ms - round(fault.strong(5) * HOUR_MS)
                case FaultKind.PROBE_CLOCK_FROZEN:
                    return fault.at_ms
                case FaultKind.PROBE_CLOCK_AHEAD:
                    return at_ms + round(fault.strong(60) * MINUTE_MS)
                case _:
                    continue
        return None

    def begin(self, fault: SimFault) -> None:
        """`fault` takes hold."""
        self.ailing.append(fault)
        self._held = self._last_said

    def end(self, fault: SimFault) -> None:
        """`fault` is mended."""
        self.ailing.remove(fault)

    def _spoil(self, fault: SimFault, value: float, around: Surroundings) -> float | None:
        gone_ms = around.at_ms - fault.at_ms
        match fault.kind:
            case FaultKind.PROBE_SILENT | FaultKind.PROBE_PATCHY:
                lost = 1.0 if fault.kind is FaultKind.PROBE_SILENT else fault.strong(0.6)
                return None if self._random.random() < lost else value
            case FaultKind.PROBE_STUCK:
                if self._held is None:  # struck before its first word
                    self._held = value
                return self._held
            case FaultKind.SENSOR_ERROR:
                return fault.strong(85.0)
            case FaultKind.PROBE_NOISY:
                usual = _NOISY.get(self.quantity, 0.1 * around.truth)
                return value + self._random.gauss(0, fault.strong(usual))
            case FaultKind.PROBE_DRIFT:
                usual = _DRIFTS.get(self.quantity, 0.05 * around.truth)
                return value + fault.strong(usual) * gone_ms / DAY_MS
            case FaultKind.PROBE_DRY:
                return self._dry(value, gone_ms, around)
            case FaultKind.PROBE_BUFFER:
                return self._in_buffer(value, fault, around)
            case _:
                return value

    def _dry(self, value: float, gone_ms: int, around: Surroundings) -> float:
        wet = exp(-gone_ms / MINUTE_MS / _DRY_MINUTES)
        if self.quantity is Quantity.TEMPERATURE:
            return around.air_c + (value - around.truth) + wet * (around.truth - around.air_c)
        if self.quantity is Quantity.PH:
            wander = self._random.gauss(0, 0.3 * (1 - wet))
            return _DRY_ELECTRODE_PH + wet * (value - _DRY_ELECTRODE_PH) + wander
        return value * wet  # a cell in air conducts nothing

    def _in_buffer(self, value: float, fault: SimFault, around: Surroundings) -> float:
        until_ms = fault.lasts_until_ms or fault.at_ms + 1
        half_ms = (until_ms - fault.at_ms) / 2
        gone_ms = around.at_ms - fault.at_ms
        # technical buffers near room temperature: 7.00 and 4.00; the electrode needs 30 s
        before, buffer = (value, 7.0) if gone_ms < half_ms else (7.0, 4.0)
        since_ms = gone_ms if gone_ms < half_ms else gone_ms - half_ms
        error = value - around.truth
        return buffer + error + (before - buffer) * exp(-since_ms / 30_000)
