"""A recipe: how many litres of each source make a wanted water, or come nearest to it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from roewatch.water import carbonate
from roewatch.water.blend import Blend, pour
from roewatch.water.refusal import RefusedError, within
from roewatch.water.simplex import Demand, nearest
from roewatch.water.source import Makeup, SourceWater, acid_conductance, mixed


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What the blend should be; at least one is given.

    dgh: °dGH. dkh: °dKH. conductivity: µS/cm at 25 °C. ph: once aired, or just mixed when `closed`.
    """

    dgh: float | None = None
    dkh: float | None = None
    conductivity: float | None = None
    ph: float | None = None
    closed: bool = False

    def __post_init__(self) -> None:
        if self.dgh is None and self.dkh is None and self.conductivity is None and self.ph is None:
            raise RefusedError("nothing is wanted. Give a dGH, dKH, conductivity or pH.")
        if self.dgh is not None:
            within(self.dgh, 0.0, 50.0, what="wanted hardness", unit="°dGH")
        if self.dkh is not None:
            within(self.dkh, 0.0, 50.0, what="wanted carbonate hardness", unit="°dKH")
        if self.conductivity is not None:
            within(self.conductivity, 0.0, 5000.0, what="wanted conductivity", unit="µS/cm")
        if self.ph is not None:
            within(self.ph, 3.5, 10.0, what="wanted pH")


DGH_CLOSE = 0.1
DKH_CLOSE = 0.05
CONDUCTIVITY_CLOSE = 3.0
PH_CLOSE = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Met:
    """One wanted number beside what the recipe gives. close: the miss that counts as met."""

    name: str
    wanted: float
    given: float
    close: float

    @property
    def met(self) -> bool:
        """Whether the miss is no larger than `close`."""
        return abs(self.given - self.wanted) <= self.close * (1.0 + 1e-9)


@dataclass(frozen=True, slots=True, kw_only=True)
class Recipe:
    """The nearest blend. feasible: every wanted number is met. why_not: empty when feasible."""

    blend: Blend
    numbers: tuple[Met, ...]
    why_not: str

    @property
    def miss(self) -> float:
        """Sum of squared misses, each in units of what still passes as met."""
        return sum(((n.given - n.wanted) / n.close) ** 2 for n in self.numbers)

    @property
    def feasible(self) -> bool:
        """Whether every wanted number is met."""
        return all(number.met for number in self.numbers)


def find(
    sources: Sequence[SourceWater],
    wanted: Wanted,
    *,
    litres: float,
    pco2: float = carbonate.ROOM_UATM,
    celsius: float | None = None,
) -> Recipe:
    """Litres of each of 2-4 sources for the wanted water, `litres` in all.

    When many recipes would do, the sources named first are used most. When none does, the nearest
    is given, each miss counted in units of what still passes as met, and `why_not` says what is
    out of reach. pH is reached through alkalinity, which mixes, so the search stays linear.
    celsius: of the tank, for the aired pH; None leaves the mixed temperature.
    Raises RefusedError for other counts, no litres, conductivity wanted of a source without one,
    or as `SourceWater.makeup`.
    """
    if not 2 <= len(sources) <= 4:
        raise RefusedError(f"{len(sources)} waters given; a recipe is sought for two to four.")
    within(litres, 0.001, 1e6, what="litres wanted", unit="L")
    makeups = [source.makeup for source in sources]
    if wanted.conductivity is not None and any(m.conductivity is None for m in makeups):
        lacking = ", ".join(s.name for s in sources if s.conductivity is None)
        raise RefusedError(f"conductivity is wanted, but {lacking} has none. Measure it first.")
    count = len(sources)
    starts = [[1.0 / count] * count]
    # free acid bends conductivity, so a nearest blend may be nearest only hereabouts
    starts += [[1.0 if i == j else 0.0 for i in range(count)] for j in range(count)]
    best: Recipe | None = None
    for start in starts:
        shares = _settled(makeups, start, wanted, pco2=pco2, celsius=celsius)
        blend = pour(
            [(share * litres, source) for share, source in zip(shares, sources, strict=True)],
            pco2=pco2,
            celsius=celsius,
        )
        recipe = Recipe(blend=blend, numbers=_met(blend, wanted), why_not="")
        if best is None or recipe.miss < best.miss:
            best = recipe
        if best.feasible:
            return best
    assert best is not None  # there is always one start
    return replace(best, why_not=_why_not(best.numbers, sources, pco2, celsius))


def _settled(
    makeups: Sequence[Makeup],
    start: Sequence[float],
    wanted: Wanted,
    *,
    pco2: float,
    celsius: float | None,
) -> list[float]:
    """Shares where the demands, made linear about them, ask for the same shares again."""
    shares = list(start)
    for _ in range(12):
        before = shares
        rows = _rows(makeups, shares, wanted, pco2=pco2, celsius=celsius)
        shares = nearest(rows, len(makeups))
        if max(abs(a - b) for a, b in zip(before, shares, strict=True)) < 1e-6:
            break
    return shares


def _rows(
    makeups: Sequence[Makeup],
    shares: Sequence[float],
    wanted: Wanted,
    *,
    pco2: float,
    celsius: float | None,
) -> list[Demand]:
    """The demands, made linear about the present shares."""
    here = mixed(list(zip(shares, makeups, strict=True)))
    warmth = here.celsius if celsius is None else celsius
    rows: list[Demand] = []
    if wanted.dgh is not None:
        rows.append(_row([m.dgh for m in makeups], wanted.dgh, DGH_CLOSE))
    if wanted.dkh is not None:
        rows.append(_row([m.dkh for m in makeups], wanted.dkh, DKH_CLOSE))
    if wanted.conductivity is not None:
        rows.append(_conductivity_row(makeups, here, wanted.conductivity, pco2, warmth))
    if wanted.ph is not None and wanted.closed:
        rows.append(_closed_ph_row(makeups, here, wanted.ph))
    elif wanted.ph is not None:
        rows.append(_aired_ph_row(makeups, here, wanted.ph, pco2, warmth))
    return rows


def _conductivity_row(
    makeups: Sequence[Makeup], here: Makeup, wanted: float, pco2: float, celsius: float
) -> Demand:
    """Conductivity mixes but for the free acid, whose share falls as alkalinity rises."""

    def acid(alkalinity: float) -> float:
        return acid_conductance(
            replace(here, alkalinity=alkalinity).aired(pco2=pco2, celsius=celsius).ph
        )

    step = 1e-4
    now = acid(here.alkalinity)
    bend = (acid(here.alkalinity + step) - now) / step
    return _row(
        [(m.conductivity or 0.0) + bend * m.alkalinity for m in makeups],
        wanted - now + bend * here.alkalinity,
        _conductivity_close(wanted),
    )


def _aired_ph_row(
    makeups: Sequence[Makeup], here: Makeup, wanted: float, pco2: float, celsius: float
) -> Demand:
    """pH at rest with air is a matter of alkalinity, and alkalinity mixes."""

    def at(ph: float) -> float:
        return carbonate.alkalinity_for_aired_ph(ph=ph, pco2=pco2, celsius=celsius, ions=here.ions)

    close = max((at(wanted + PH_CLOSE) - at(wanted - PH_CLOSE)) / 2.0, 1e-6)
    return _row([m.alkalinity for m in makeups], at(wanted), close)


def _closed_ph_row(makeups: Sequence[Makeup], here: Makeup, wanted: float) -> Demand:
    """At one pH alkalinity is a straight line of dissolved carbon, and both mix."""

    def at(ph: float, dic: float) -> float:
        return carbonate.alkalinity_for_closed_ph(
            ph=ph, dic=dic, celsius=here.celsius, ions=here.ions
        )

    none, now = at(wanted, 0.0), at(wanted, here.dic)
    per_dic = (now - none) / here.dic if here.dic > 0.0 else 0.0
    close = max((at(wanted + PH_CLOSE, here.dic) - at(wanted - PH_CLOSE, here.dic)) / 2.0, 1e-6)
    return _row([m.alkalinity - per_dic * m.dic for m in makeups], none, close)


def _row(values: Sequence[float], goal: float, close: float) -> Demand:
    return Demand(weights=tuple(value / close for value in values), goal=goal / close)


def _conductivity_close(wanted: float) -> float:
    return max(CONDUCTIVITY_CLOSE, 0.02 * wanted)


def _met(blend: Blend, wanted: Wanted) -> tuple[Met, ...]:
    numbers: list[Met] = []
    if wanted.dgh is not None:
        numbers.append(Met(name="dGH", wanted=wanted.dgh, given=blend.makeup.dgh, close=DGH_CLOSE))
    if wanted.dkh is not None:
        numbers.append(Met(name="dKH", wanted=wanted.dkh, given=blend.makeup.dkh, close=DKH_CLOSE))
    if wanted.conductivity is not None:
        numbers.append(
            Met(
                name="µS/cm",
                wanted=wanted.conductivity,
                given=blend.conductivity or 0.0,
                close=_conductivity_close(wanted.conductivity),
            )
        )
    if wanted.ph is not None:
        balance = blend.closed if wanted.closed else blend.aired
        name = "pH just mixed" if wanted.closed else "pH aired"
        numbers.append(Met(name=name, wanted=wanted.ph, given=balance.ph, close=PH_CLOSE))
    return tuple(numbers)


def _why_not(
    numbers: Sequence[Met],
    sources: Sequence[SourceWater],
    pco2: float,
    celsius: float | None,
) -> str:
    """Why the wanted water is out of reach, one sentence; empty when it is not."""
    missed = [number for number in numbers if not number.met]
    if not missed:
        return ""
    reasons: list[str] = []
    for number in missed:
        reach = _reach(number.name, sources, pco2, celsius)
        if reach is None:
            continue
        low, high = reach
        if number.wanted < low - number.close or number.wanted > high + number.close:
            reasons.append(
                f"{number.name} {number.wanted:g} lies outside what these waters hold, "
                f"{low:.2f} to {high:.2f}"
            )
    if not reasons:
        names = " and ".join(f"{n.name} {n.wanted:g}" for n in numbers)
        reasons.append(f"these waters cannot give {names} together")
    text = "; ".join(reasons) + "."
    low_ph = next((n for n in missed if n.name == "pH aired" and n.wanted < n.given), None)
    if low_ph is not None and low_ph.wanted < 6.6:
        text += (
            " Against the CO2 of air a pH this low needs almost no alkalinity, or an organic acid: "
            "titrate the blend with the extract on the bench."
        )
    return text


def _reach(
    name: str, sources: Sequence[SourceWater], pco2: float, celsius: float | None
) -> tuple[float, float] | None:
    """Lowest and highest of one number over the sources alone; None where blends may exceed it."""
    if name == "pH just mixed":
        return None
    alone = [pour([(1.0, source)], pco2=pco2, celsius=celsius) for source in sources]
    values = {
        "dGH": [blend.makeup.dgh for blend in alone],
        "dKH": [blend.makeup.dkh for blend in alone],
        "µS/cm": [blend.conductivity or 0.0 for blend in alone],
        "pH aired": [blend.aired.ph for blend in alone],
    }[name]
    return min(values), max(values)
