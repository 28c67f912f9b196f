"""Limits: every number the judge goes by, with its unit, its default and why.

Spans are milliseconds of event time. Where a figure was measured on simulated rooms or taken from
practice the comment says so; a keeper may set any of them in `[judging]`.
"""

from dataclasses import dataclass
from typing import Final

from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS, SECOND_MS
from roewatch.room.quantity import Quantity

# not tunable: what is looked at minute by minute, and how seldom it may be read to show a jump
QUICK: Final = frozenset({Quantity.TEMPERATURE, Quantity.PH})
NAMED_EVERY_MS: Final = 3 * MINUTE_MS


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """The judge's tunables. Degrees are °C; pH is in pH."""

    # the grid
    settle_ms: int = 20 * SECOND_MS  # a tick waits this long for readings still on their way

    # bounds: ISA-18.2 style, on the median of three minutes
    deadband_celsius: float = 0.2  # 2.5-4 steps of a 0.0625 °C sensor
    deadband_ph: float = 0.1
    deadband_share: float = 0.03  # of the bound, for every other quantity
    on_delay_ms: int = 4 * MINUTE_MS
    off_delay_ms: int = 10 * MINUTE_MS
    again_ms: int = 8 * HOUR_MS  # outside again so soon: it goes in and out …
    again_off_delay_ms: int = 4 * HOUR_MS  # … and must then stay inside this long
    ph_uncertainty: float = 0.05  # a glass electrode cannot tell less than this outside a window
    retell_ms: int = 30 * MINUTE_MS  # a standing condition is told again no sooner

    # silence
    silent_after_ms: int = 15 * MINUTE_MS
    silent_after_missed: int = 5  # and at least this many due readings
    room_silent_after_ms: int = 3 * MINUTE_MS  # the whole room at once: the broker or the network
    room_silent_share: float = 0.9  # of the tanks that spoke before
    patchy_span_ms: int = 90 * MINUTE_MS
    patchy_share: float = 0.35  # of the due readings missing in that span
    patchy_over_share: float = 0.10

    # believing
    gap_missed: int = 5  # due readings missed before the next one is suspect
    flat_suspect_ms: int = 60 * MINUTE_MS  # never sooner than this …
    flat_fail_ms: int = 120 * MINUTE_MS
    flat_suspect_runs: float = 2.0  # … nor than this many of the probe's own longest runs
    flat_fail_runs: float = 3.0
    flat_learn_ms: int = DAY_MS  # before a probe is known this long, a flat line fails nothing
    flat_fail_slow_ms: int = 3 * HOUR_MS  # for pH and the like …
    flat_slow_runs: float = 8.0  # … because good water can hold for hours at 0.01
    dull_share: float = 0.35  # of the least range three hours had in days: it hardly moves any more
    apart_celsius: float = 0.5  # two probes of one tank, beyond their usual difference …
    apart_ph: float = 0.2
    apart_share: float = 0.1  # of the value, for every other quantity
    apart_hold_ms: int = 30 * MINUTE_MS
    astray_celsius: float = 1.5  # an unheated tank within four hours, against the others'
    ahead_times: int = 5  # so many times in the future before a probe's clock is called wrong
    noisy_factor: float = 3.0  # second difference against the probe's own norm
    noisy_hold_ms: int = 20 * MINUTE_MS

    # rates
    rate_guard_celsius: float = 0.15  # beyond the limit and the thermostat's own swing
    rate_guard_ph: float = 0.1
    rate_hold_ms: int = 10 * MINUTE_MS

    # the learned thermostat
    band_guard_celsius: float = 0.25  # beyond the learned band …
    band_hold_ms: int = 3 * MINUTE_MS  # … held this long
    band_learn_cycles: int = 4  # cycles before the switch points are believed
    band_learn_hours: int = 12  # hours before a tank without cycles has a band
    band_keep_hours: int = 72
    ramp_celsius_per_h: float = 0.015  # how fast a keeper may turn a thermostat unnoticed
    ramp_conditioning_per_h: float = 0.045  # 1 °C a day, while conditioning
    odd_turn_celsius: float = 0.35  # a turn this far off is not learned at once
    adopt_ms: int = DAY_MS  # odd turns for a day are the new usual
    drift_celsius: float = 0.3  # both switch points crept this far
    lid_fall_ms: int = int(2.5 * HOUR_MS)  # so much cooling is compared before a lid is blamed
    lid_times: float = 1.4
    weak_rise_ms: int = int(1.25 * HOUR_MS)  # so much warming before a heater is called weak
    weak_share: float = 0.65
    works_harder: float = 0.2  # share of the time a heater may be on more than some days ago
    knob_conditioning_celsius: float = 0.3  # one step of a plan, turned all at once

    # jumps: within ten minutes
    jump_celsius: float = 0.35  # and what the heater itself can do meanwhile
    jump_ph: float = 0.15
    jump_open_ms: int = 40 * MINUTE_MS  # how long one jump is looked at
    jump_decide_ms: int = 5 * MINUTE_MS  # what it is must be said by then …
    jump_sure_ms: int = 2 * MINUTE_MS  # … or by then, when it has gone on well beyond that

    # slow pH
    ph_off: float = 0.08  # away from the same hour of the days before …
    ph_off_sd: float = 5.0  # … and so many of its own standard deviations
    ph_off_most: float = 0.12  # … but never more than this
    ph_gone: float = 0.06  # went that far within four hours
    ph_slope_per_h: float = 0.02
    ph_crash_per_h: float = 0.05  # faster than carbon dioxide alone can take it
    ph_settle_ms: int = 12 * HOUR_MS  # after something explained, only greater changes count
    ph_pour_ms: int = 6 * HOUR_MS  # after too much acid or hard water, until it stands still
    ph_change_ms: int = 4 * HOUR_MS  # the same after a logged water change
    ph_drift: float = 0.08  # away for most of a day without going further

    # water changes in the journal
    change_margin_celsius: float = 0.75  # wider limits around a logged water change, never none
    change_margin_ph: float = 0.4
    change_after_ms: int = 2 * HOUR_MS  # how long after it the water may still be coming back
    change_before_ms: int = 10 * MINUTE_MS  # a keeper notes the start a little late
    calibration_after_ms: int = 20 * MINUTE_MS  # a probe needs this to settle again

    # the whole room
    together_ms: int = 20 * MINUTE_MS  # all tanks falling this long: decisive
    together_share: float = 0.9
    room_cold_celsius: float = 0.7  # below the coldest hour of the last days …
    room_cold_share: float = 0.6  # … and this share of how far those days ranged
    together_tanks: int = 3  # fewer heated tanks than this say nothing of the room
