"""Run: python -m tests.bench.real_series [--out FILE.png]: the judge on a thermometer in the sea.

The series comes with the package `bokeh-sampledata` (`pip install bokeh-sampledata`): water
temperature every half hour for 13 months, buoy B01 of NERACOOS in the Gulf of Maine, free to use
and redistribute. Nobody labelled it, so nothing here passes or fails: it shows what our flags make
of real water that no thermostat holds, beside those of ioos-qc on the same numbers.

The sea is colder than any tank here, so the probe is given a calibration that adds 13 °C; without
it most readings would rightly be flagged as outside what soft-water fish are kept in.
"""

import argparse
import csv
import gzip
import io
from collections import Counter
from collections.abc import Sequence
from importlib.resources import files
from itertools import pairwise
from pathlib import Path

import numpy as np
from ioos_qc import qartod

from roewatch.judging.finding import Finding
from roewatch.judging.judge import Judge
from roewatch.judging.quality import GROSS, SPIKES
from roewatch.room.moment import HOUR_MS, MINUTE_MS, at_ms_of_iso, moment_of
from roewatch.room.quantity import Quantity
from roewatch.room.reading import Flagged, Reading
from roewatch.room.series import Series
from roewatch.room.tank import Calibration, Probe, Room, Tank
from roewatch.views.drawing import svg
from roewatch.views.palette import Theme
from roewatch.views.picture import png
from roewatch.views.plot import ChartSpec

EVERY_MS = 30 * MINUTE_MS
WARMER = 13.0


def sea() -> list[Reading]:
    """Every reading of the buoy."""
    packed = files("bokeh_sampledata") / "_data" / "sea_surface_temperature.csv.gz"
    with gzip.open(io.BytesIO(packed.read_bytes()), "rt") as lines:
        rows = list(csv.reader(lines))[1:]
    return [Reading("sea-t", at_ms_of_iso(at), float(value)) for at, value in rows]


def judged(readings: Sequence[Reading]) -> tuple[list[Flagged], list[Finding]]:
    """Each reading as finally flagged, and what was found on the way."""
    probe = Probe(
        id="sea-t", tank="sea", quantity=Quantity.TEMPERATURE, every_ms=EVERY_MS,
        calibrations=(Calibration(at_ms=0, offset=WARMER),),
    )  # fmt: skip
    room = Room(
        id="sea", name="sea", zone="UTC", tanks=(Tank(id="sea", litres=1000),), probes=(probe,)
    )
    judge = Judge(room, start_ms=readings[0].at_ms)
    flagged: list[Flagged] = []
    found: list[Finding] = []
    for reading in readings:
        this = judge.take(reading)
        if this.revised is not None:
            flagged[-1] = this.revised
        flagged.append(this.flagged)
        found += this.findings
    return flagged, found


def theirs(flagged: Sequence[Flagged]) -> list[int]:
    """The worst of ioos-qc's gross range and differential spike test, point by point."""
    values = [f.value for f in flagged]
    span, (suspect, fail) = GROSS[Quantity.TEMPERATURE], SPIKES[Quantity.TEMPERATURE]
    gross = qartod.gross_range_test(
        values, (span.fail_low, span.fail_high), (span.suspect_low, span.suspect_high)
    )
    spike = qartod.spike_test(values, suspect, fail, method="differential")
    return [int(flag) for flag in np.maximum(gross.data, spike.data)]


def picture(flagged: Sequence[Flagged], out: Path) -> None:
    """The series as the tank's page shows it, each flag marked."""
    from_ms, to_ms = flagged[0].at_ms, flagged[-1].at_ms
    series = Series(
        probe="sea-t", tank="sea", quantity=Quantity.TEMPERATURE, every_ms=EVERY_MS,
        from_ms=from_ms, to_ms=to_ms, at_ms=[f.at_ms for f in flagged],
        value=[f.value for f in flagged], flag=[int(f.flag) for f in flagged],
    )  # fmt: skip
    chart = ChartSpec(
        id="sea", title=f"the sea, {WARMER:g} °C added", quantity=Quantity.TEMPERATURE,
        from_ms=from_ms, to_ms=to_ms, now_ms=to_ms, zone="UTC",
        series=[series], theme=Theme.DAY, width=1400,
    )  # fmt: skip
    out.write_bytes(png(svg(chart), zoom=1.0))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, help="draw the series with its flags into this file")
    asked = parser.parse_args()
    readings = sea()
    flagged, found = judged(readings)
    days = (readings[-1].at_ms - readings[0].at_ms) / HOUR_MS / 24
    holes = [b.at_ms - a.at_ms for a, b in pairwise(readings) if b.at_ms - a.at_ms > EVERY_MS]
    print(f"{len(readings)} readings over {days:.0f} days, {len(holes)} holes, the longest "
          f"{max(holes, default=0) / HOUR_MS:.1f} h")  # fmt: skip
    counts = Counter(f.flag.name.lower() for f in flagged)
    print("flags:", ", ".join(f"{name} {n}" for name, n in counts.most_common()))
    other = theirs(flagged)
    differ = Counter(
        (f.flag.name.lower(), their)
        for f, their in zip(flagged, other, strict=True)
        if int(f.flag) != their
    )
    print("differently by ioos-qc (ours, theirs):", dict(differ))
    for finding in found:
        if finding.present:
            print("found:", moment_of(finding.at_ms).date(), finding.kind, finding.message)
    if asked.out:
        picture(flagged, asked.out)


if __name__ == "__main__":
    main()
