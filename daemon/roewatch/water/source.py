"""A source water: rain, RO, tap or well, as a keeper's kits describe it; and what mixes of it."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from roewatch.water import carbonate
from roewatch.water import ions as dissolved
from roewatch.water.conductivity import HYDROGEN_S
from roewatch.water.hardness import dgh_of_mmol, dkh_of_meq
from roewatch.water.ions import Ions
from roewatch.water.refusal import RefusedError, within


@dataclass(frozen=True, slots=True, kw_only=True)
class Precision:
    """How far the keeper's readings may be off, one standard deviation.

    ph: units. alkalinity_share and alkalinity: a share of the reading plus meq/L. dgh_share and
    dgh: likewise, °dGH. conductivity_share: of the reading. celsius.
    Defaults: a calibrated probe, a drop kit with a large sample, a compensated meter.
    """

    ph: float = 0.1
    alkalinity_share: float = 0.05
    alkalinity: float = 0.01
    dgh_share: float = 0.05
    dgh: float = 0.1
    conductivity_share: float = 0.02
    celsius: float = 0.3

    def __post_init__(self) -> None:
        for name in self.__dataclass_fields__:
            if not 0.0 <= getattr(self, name) < 10.0:
                raise RefusedError(f"precision of {name} is {getattr(self, name)}; give 0 to 10.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Makeup:
    """What of a water mixes in proportion: the only numbers a blend may average.

    celsius. alkalinity: meq/L. dic: mmol/L of dissolved carbon. ions. conductivity: µS/cm at 25 °C
    without the share of free acid, which is destroyed where acid meets alkali; None if unknown.
    """

    celsius: float
    alkalinity: float
    dic: float
    ions: Ions
    conductivity: float | None = None

    @property
    def dgh(self) -> float:
        """General hardness, °dGH."""
        return dgh_of_mmol(self.ions.earths)

    @property
    def dkh(self) -> float:
        """Carbonate hardness, °dKH; below zero for over-acidified water."""
        return dkh_of_meq(self.alkalinity)

    def closed(self, *, celsius: float | None = None) -> carbonate.Balance:
        """At rest with itself only, at its own temperature or another."""
        return carbonate.closed(
            alkalinity=self.alkalinity,
            dic=self.dic,
            celsius=self.celsius if celsius is None else celsius,
            ions=self.ions,
        )

    def aired(self, *, pco2: float, celsius: float | None = None) -> carbonate.Balance:
        """At rest with air of `pco2` µatm, at its own temperature or another."""
        return carbonate.aired(
            alkalinity=self.alkalinity,
            pco2=pco2,
            celsius=self.celsius if celsius is None else celsius,
            ions=self.ions,
        )

    def conductivity_at(self, ph: float) -> float | None:
        """Conductivity, µS/cm at 25 °C, with the free acid of this pH; None if unknown."""
        if self.conductivity is None:
            return None
        return self.conductivity + acid_conductance(ph)


def acid_conductance(ph: float) -> float:
    """µS/cm at 25 °C that free hydrogen ions alone give at this pH."""
    return HYDROGEN_S * 1000.0 * float(10.0**-ph)


def mixed(parts: Sequence[tuple[float, Makeup]]) -> Makeup:
    """The makeup of waters poured together, with no time to trade CO2 with the air.

    parts: (litres, makeup), any order. Volumes are added as they are: density differs by < 0.5 %.
    Conductivity is None if any part with litres lacks it.
    Raises RefusedError for no water at all, for negative litres, and for more than any room holds.
    """
    total = sum(litres for litres, _ in parts)
    if not total > 0.0 or any(litres < 0.0 for litres, _ in parts):
        raise RefusedError("a blend needs litres above zero, and none below.")
    within(total, 0.0, 1e9, what="the water in all", unit="L")  # an endless sum has no shares
    shares = [(litres / total, makeup) for litres, makeup in parts if litres > 0.0]
    known = [(share, m.conductivity) for share, m in shares if m.conductivity is not None]
    return Makeup(
        celsius=sum(share * m.celsius for share, m in shares),
        alkalinity=sum(share * m.alkalinity for share, m in shares),
        dic=sum(share * m.dic for share, m in shares),
        ions=dissolved.mixed([(share, m.ions) for share, m in shares]),
        conductivity=(
            sum(share * value for share, value in known) if len(known) == len(shares) else None
        ),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class SourceWater:
    """One source as measured.

    ph: as read, or None when it is at rest with air of `pco2` µatm. alkalinity: meq/L. dgh: °dGH.
    conductivity: µS/cm at 25 °C or None. ions: from a full report, else guessed from the kits.
    mains: from the water works, so it may carry chlorine. precision: of these readings.
    Raises RefusedError for numbers no fresh water has.
    """

    name: str
    celsius: float
    alkalinity: float
    ph: float | None = None
    pco2: float = carbonate.OUTDOOR_UATM
    dgh: float = 0.0
    conductivity: float | None = None
    ions: Ions | None = None
    mains: bool = False
    precision: Precision = field(default_factory=Precision)

    def __post_init__(self) -> None:
        within(self.celsius, 0.0, 50.0, what=f"temperature of {self.name}", unit="°C")
        least, most = carbonate.LEAST_ALKALINITY, carbonate.MOST_ALKALINITY
        within(self.alkalinity, least, most, what=f"alkalinity of {self.name}", unit="meq/L")
        within(self.dgh, 0.0, 100.0, what=f"hardness of {self.name}", unit="°dGH")
        if self.ph is not None:
            within(self.ph, 2.0, 11.5, what=f"pH of {self.name}")
        if self.conductivity is not None:
            within(
                self.conductivity, 0.0, 10_000.0, what=f"conductivity of {self.name}", unit="µS/cm"
            )

    @property
    def makeup(self) -> Makeup:
        """What mixes. Dissolved carbon is from pH and alkalinity, or from the air's CO2.

        Raises RefusedError where pH says nothing about carbon: give `pco2` and no pH.
        """
        ions = self.ions or dissolved.ions_of_kits(
            dgh=self.dgh, alkalinity=self.alkalinity, conductivity=self.conductivity
        )
        if self.ph is None:
            balance = carbonate.aired(
                alkalinity=self.alkalinity, pco2=self.pco2, celsius=self.celsius, ions=ions
            )
        else:
            try:
                balance = carbonate.of_ph(
                    ph=self.ph, alkalinity=self.alkalinity, celsius=self.celsius, ions=ions
                )
            except RefusedError as refused:
                raise RefusedError(f"{self.name}: {refused}") from refused
        conductivity = self.conductivity
        if conductivity is not None:
            # a meter reads the free acid too; what is left mixes in proportion
            conductivity = max(conductivity - acid_conductance(balance.ph), 0.0)
        return Makeup(
            celsius=self.celsius,
            alkalinity=self.alkalinity,
            dic=balance.dic,
            ions=ions,
            conductivity=conductivity,
        )
