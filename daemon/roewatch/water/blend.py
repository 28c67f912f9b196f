"""A blend: two to four source waters poured together, its pH now and after a day of air."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

from roewatch.water import carbonate
from roewatch.water.carbonate import Balance
from roewatch.water.refusal import RefusedError, within
from roewatch.water.source import Makeup, SourceWater, mixed


class Range(NamedTuple):
    """A value and where it may lie, about 95 in 100, from the precision of the readings."""

    low: float
    value: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Blend:
    """What the waters make.

    litres: of each source, in the order given. closed: just mixed, at the mixed temperature.
    aired: at rest with the room's air, at the tank's temperature. conductivity: µS/cm at 25 °C of
    the aired water, None when a source has none.
    """

    litres: tuple[float, ...]
    sources: tuple[SourceWater, ...]
    makeup: Makeup
    closed: Balance
    aired: Balance
    pco2: float

    @property
    def conductivity(self) -> float | None:
        """µS/cm at 25 °C once aired."""
        return self.makeup.conductivity_at(self.aired.ph)


def pour(
    parts: Sequence[tuple[float, SourceWater]],
    *,
    pco2: float = carbonate.ROOM_UATM,
    celsius: float | None = None,
) -> Blend:
    """The blend of (litres, source) parts, one to four of them.

    pco2: CO2 of the room's air, µatm. celsius: what the tank will be kept at; None leaves the
    mixed temperature. Raises RefusedError as `SourceWater.makeup` and `mixed`.
    """
    if not 1 <= len(parts) <= 4:
        raise RefusedError(f"{len(parts)} waters given; a blend takes one to four.")
    makeup = mixed([(litres, source.makeup) for litres, source in parts])
    return Blend(
        litres=tuple(litres for litres, _ in parts),
        sources=tuple(source for _, source in parts),
        makeup=makeup,
        closed=makeup.closed(),
        aired=makeup.aired(pco2=pco2, celsius=celsius),
        pco2=pco2,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class BlendRanges:
    """Where each number of a blend may lie, given the precision of the kits."""

    closed_ph: Range
    aired_ph: Range
    dgh: Range
    dkh: Range
    conductivity: Range | None


_Nudge = Callable[[SourceWater, float], SourceWater]


def _nudged_ph(source: SourceWater, by: float) -> SourceWater:
    return source if source.ph is None else replace(source, ph=source.ph + by * source.precision.ph)


def _nudged_alkalinity(source: SourceWater, by: float) -> SourceWater:
    p = source.precision
    step = p.alkalinity + p.alkalinity_share * abs(source.alkalinity)
    return replace(source, alkalinity=source.alkalinity + by * step)


def _nudged_dgh(source: SourceWater, by: float) -> SourceWater:
    p = source.precision
    return replace(source, dgh=max(source.dgh + by * (p.dgh + p.dgh_share * source.dgh), 0.0))


def _nudged_conductivity(source: SourceWater, by: float) -> SourceWater:
    if source.conductivity is None:
        return source
    return replace(
        source, conductivity=source.conductivity * (1.0 + by * source.precision.conductivity_share)
    )


_NUDGES: tuple[_Nudge, ...] = (
    _nudged_ph,
    _nudged_alkalinity,
    _nudged_dgh,
    _nudged_conductivity,
)


def ranges(
    parts: Sequence[tuple[float, SourceWater]],
    *,
    pco2: float = carbonate.ROOM_UATM,
    pco2_share: float = 0.2,
    celsius: float | None = None,
) -> BlendRanges:
    """How sure the blend's numbers are: each reading is moved by two deviations, one at a time.

    Rises and falls are summed in quadrature apart, because thin alkalinity makes pH lopsided.
    pco2_share: one deviation of the room's CO2. A reading that, moved, contradicts another is
    moved half as far. Errors as `pour`.
    """
    plain = _numbers(pour(parts, pco2=pco2, celsius=celsius))
    moves: list[list[float]] = []
    for i, (litres, source) in enumerate(parts):
        for nudge in _NUDGES:
            for by in (-2.0, 2.0):
                changed = nudge(source, by)
                if changed == source:
                    continue
                moved = _poured_or_nearer(parts, i, litres, nudge, by, pco2=pco2, celsius=celsius)
                moves.append([m - p for m, p in zip(moved, plain, strict=True)])
    for factor in (1.0 - 2.0 * pco2_share, 1.0 + 2.0 * pco2_share):
        moved = _numbers(pour(parts, pco2=max(pco2 * factor, 50.0), celsius=celsius))
        moves.append([m - p for m, p in zip(moved, plain, strict=True)])
    found = [
        Range(
            value - math.sqrt(sum(min(m[i], 0.0) ** 2 for m in moves)),
            value,
            value + math.sqrt(sum(max(m[i], 0.0) ** 2 for m in moves)),
        )
        for i, value in enumerate(plain)
    ]
    has_conductivity = all(s.conductivity is not None for litres, s in parts if litres > 0.0)
    return BlendRanges(
        closed_ph=found[0],
        aired_ph=found[1],
        dgh=found[2],
        dkh=found[3],
        conductivity=found[4] if has_conductivity else None,
    )


def _numbers(blend: Blend) -> tuple[float, ...]:
    return (
        blend.closed.ph,
        blend.aired.ph,
        blend.makeup.dgh,
        blend.makeup.dkh,
        blend.conductivity or 0.0,
    )


def _poured_or_nearer(
    parts: Sequence[tuple[float, SourceWater]],
    i: int,
    litres: float,
    nudge: _Nudge,
    by: float,
    *,
    pco2: float,
    celsius: float | None,
) -> tuple[float, ...]:
    for reach in (1.0, 0.5, 0.25):
        changed = (litres, nudge(parts[i][1], by * reach))
        try:
            blend = pour([*parts[:i], changed, *parts[i + 1 :]], pco2=pco2, celsius=celsius)
        except RefusedError:
            continue  # the moved reading contradicts its neighbour: it cannot be that far off
        return _numbers(blend)
    return _numbers(pour(parts, pco2=pco2, celsius=celsius))


def cautions(blend: Blend) -> tuple[str, ...]:
    """What a keeper should hear about this blend, most important first."""
    found: list[str] = []
    gap = blend.closed.ph - blend.aired.ph
    if abs(gap) >= 0.15:
        way = "rises" if gap < 0 else "falls"
        found.append(
            f"Just mixed it reads pH {blend.closed.ph:.2f}; with air it {way} to "
            f"{blend.aired.ph:.2f}. Plan on the aired number: settle 24 h with an air stone, "
            "48 h still."
        )
    if 0.0 <= blend.makeup.alkalinity < 0.05:
        found.append(
            "Almost no alkalinity is left: pH will drift and can crash. Test KH with a large "
            "sample, watch pH daily."
        )
    if blend.makeup.alkalinity < 0.0:
        found.append("There is free acid in this blend. Do not put animals in it.")
    thin = [
        source.name
        for litres, source in zip(blend.litres, blend.sources, strict=True)
        if litres > 0.0 and source.alkalinity < 0.4
    ]
    if thin:
        found.append(
            f"{', '.join(thin)}: a drop kit cannot see alkalinity this thin. Use five times the "
            "sample and divide, or a Gran titration."
        )
    low = blend.conductivity
    if low is not None and low < 50.0:
        found.append(
            "Below 50 µS/cm a pH probe is slow and may be 0.2 off: rinse well, read unstirred, "
            "wait 5 to 10 minutes."
        )
    if any(source.mains for source in blend.sources):
        found.append(
            "Mains water may carry chlorine or chloramine: treat it, or carbon-filter it, and test "
            "before it meets fish. Standing or airing does not remove chloramine."
        )
    return tuple(found)


def moved(blend: Blend, *, source: int, litres: float, celsius: float | None = None) -> Blend:
    """The same volume with one source set to `litres`; the others make room in proportion.

    source: its place in the order given. When the others hold nothing, they share evenly.
    Raises RefusedError if `litres` lies outside nought to the whole volume.
    """
    total = sum(blend.litres)
    within(litres, 0.0, total, what=f"litres of {blend.sources[source].name}", unit="L")
    rest = total - litres
    others = total - blend.litres[source]
    count = len(blend.litres) - 1
    if count == 0:
        raise RefusedError("with one water there is nothing to make room.")
    shares = [
        litres if i == source else (rest * held / others if others > 0.0 else rest / count)
        for i, held in enumerate(blend.litres)
    ]
    parts = list(zip(shares, blend.sources, strict=True))
    return pour(parts, pco2=blend.pco2, celsius=celsius or blend.aired.celsius)
