"""Some tanks of the soak's room straight through the judge, without broker and store: seconds.

    python -m tests.bench.soak_judged T096 T066 --days 60 --seed 1 --findings

To see what a long run of chosen tanks looks like after a change of the judging. The room is the
soak's own (`soak_room`); without names all tanks are played, which takes minutes. Prints each fault
with what was told of it, and the alarms that belong to none.
"""

import argparse
from collections.abc import Iterator, Sequence
from dataclasses import replace

from tests.bench.detection.__main__ import settings_of
from tests.bench.detection.score import raises
from tests.bench.soak import AFTER_MS, GRACE_MS
from tests.bench.soak_room import SPOKEN, Drawn, Label, labels_of, ph_every_ms, said

from roewatch.intake.own_time import AHEAD_MS
from roewatch.judging.finding import Finding
from roewatch.judging.judge import Judge
from roewatch.judging.limits import Limits
from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS, SECOND_MS
from roewatch.room.quantity import Quantity
from roewatch.room.reading import Reading
from roewatch.room.tank import ROOM
from roewatch_sim.room import SimRoom


def found(sim: SimRoom, drawn: Drawn) -> Iterator[Finding]:
    """What the judge finds of the whole run."""
    room = settings_of(sim)
    probes = tuple(
        replace(probe, every_ms=ph_every_ms(drawn)) if probe.quantity is Quantity.PH else probe
        for probe in room.probes
        if probe.quantity in SPOKEN
    )
    judge = Judge(replace(room, probes=probes), Limits(room_silent_after_ms=15 * MINUTE_MS),
                  start_ms=sim.start_ms)  # fmt: skip
    entered = 0
    for sample in said(sim, drawn, sim.start_ms + drawn.days * DAY_MS):
        for entry in sim.journal[entered:]:
            yield from judge.enter(entry)
        entered = len(sim.journal)
        probe = "room-air" if sample.tank == ROOM else f"{sample.tank}-{sample.quantity}"
        if sample.stamp_ms > sample.at_ms + AHEAD_MS:  # in a pack such a number is refused
            judge.note_ahead(probe, sample.at_ms, sample.stamp_ms - sample.at_ms)
            continue
        yield from judge.take(Reading(probe, sample.stamp_ms, sample.value)).findings


def shown(findings: Sequence[Finding], labels: Sequence[Label], start_ms: int) -> Iterator[str]:
    """One line a fault, one an alarm that belongs to none."""
    begun = raises(findings)
    for label in sorted(labels, key=lambda label: label.at_ms):
        told = [
            f"{f.kind}@{(f.at_ms - label.at_ms) / HOUR_MS:.1f}h" for f in begun
            if label.at_ms <= f.at_ms <= label.until_ms + GRACE_MS and label.concerns(f.tank)
        ]  # fmt: skip
        word = "" if told else "TOO SHORT" if label.too_short else "MISSED"
        span = f"{_day(label.at_ms, start_ms)}-{_day(label.until_ms, start_ms)}"
        yield f"{span} {label.kind} {','.join(label.tanks)} {word} {' '.join(told[:8])}"
    for finding in begun:
        if not any(
            label.at_ms <= finding.at_ms <= label.until_ms + AFTER_MS
            and label.concerns(finding.tank)
            for label in labels
        ):
            day = _day(finding.at_ms, start_ms)
            yield f"{day} FOR NOTHING {finding.tank} {finding.kind}: {finding.message}"


def _day(at_ms: int, start_ms: int) -> str:
    return f"{(at_ms - start_ms) / DAY_MS:6.2f}"


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("names", nargs="*", help="tanks as T001; all without")
    parser.add_argument("--days", type=int, default=60)
    parser.add_argument("--tanks", type=int, default=100)
    parser.add_argument("--every", type=int, default=120, help="seconds between two readings")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--findings", action="store_true", help="each finding as it came")
    asked = parser.parse_args()
    drawn = Drawn(asked.seed, asked.tanks, asked.days, asked.every * SECOND_MS)
    sim = drawn.room(asked.names)
    findings = []
    for finding in found(sim, drawn):
        findings.append(finding)
        if asked.findings:
            sign = "+" if finding.present else "-"
            day = _day(finding.at_ms, sim.start_ms)
            print(f"{day} {finding.tank} {sign} {finding.kind}: {finding.message}")
    print("\n".join(shown(findings, labels_of(sim, drawn, drawn.days), sim.start_ms)))


if __name__ == "__main__":
    main()
