"""pH electrodes: slope, offset, bands, drift, settling."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from roewatch.room.moment import DAY_MS, MINUTE_MS
from roewatch.room.quantity import Quantity
from roewatch.room.tank import Calibration, Probe
from roewatch.water import buffer, drift, electrode, settling
from roewatch.water.buffer import Buffer
from roewatch.water.drift import Calibrated, Past
from roewatch.water.electrode import BufferReading, Verdict
from roewatch.water.refusal import RefusedError

# °C, mV a pH. Source: R T ln 10 / F, as makers print it
SLOPES = [(0, 54.20), (10, 56.18), (20, 58.17), (25, 59.16), (30, 60.15), (40, 62.14)]


@pytest.mark.parametrize(("celsius", "slope"), SLOPES)
def test_the_nernst_slope_is_the_makers(celsius: float, slope: float) -> None:
    assert electrode.nernst_slope(celsius) == pytest.approx(slope, abs=0.006)


def test_minus_5_in_seven_and_169_in_four_is_98_percent() -> None:
    # worked example: 58.19 mV/pH, 98.4 %, offset -5 mV, which is 0.085 pH
    found = electrode.fit(
        [BufferReading(ph=7.00, mv=-5.0), BufferReading(ph=4.01, mv=169.0)], celsius=25.0
    )
    assert found.slopes_mv[0] == pytest.approx(58.19, abs=0.01)
    assert found.slope_percent[0] == pytest.approx(98.4, abs=0.05)
    assert found.offset_mv == pytest.approx(-5.0)
    assert abs(found.offset_ph) == pytest.approx(0.085, abs=0.001)
    assert found.verdict is Verdict.GOOD


@given(st.floats(0.86, 1.05), st.floats(-40, 40), st.floats(10, 35), st.floats(3.5, 7.0))
def test_a_calibrated_electrode_reads_the_ph_it_stands_in(
    slope: float, offset: float, celsius: float, ph: float
) -> None:
    true_slope = slope * electrode.nernst_slope(celsius)

    def reads(buffer_ph: float) -> float:
        return offset - true_slope * (buffer_ph - 7.0)

    found = electrode.fit([BufferReading(ph=p, mv=reads(p)) for p in (4.0, 7.02)], celsius=celsius)
    assert found.ph(reads(ph), celsius=celsius) == pytest.approx(ph, abs=1e-6)


@given(st.floats(0.9, 1.02), st.floats(-30, 30), st.floats(4.0, 9.0))
def test_a_probe_that_publishes_ph_is_put_right_by_the_line(
    slope: float, offset: float, ph: float
) -> None:
    true_slope = slope * electrode.nernst_slope(25.0)

    def published(true_ph: float) -> float:
        mv = offset - true_slope * (true_ph - 7.0)
        return 7.0 - mv / electrode.nernst_slope(25.0)

    found = electrode.fit(
        [
            BufferReading(ph=p, mv=electrode.millivolts_of(published(p), celsius=25.0))
            for p in (4.0, 7.0)
        ],
        celsius=25.0,
    )
    line_slope, line_offset = found.line()
    probe = Probe(
        id="a1-ph", tank="A1", quantity=Quantity.PH, every_ms=5000,
        calibrations=(Calibration(at_ms=0, slope=line_slope, offset=line_offset),),
    )  # fmt: skip
    assert probe.calibrated(published(ph), at_ms=1) == pytest.approx(ph, abs=1e-6)


def test_three_buffers_make_two_segments_that_meet_at_seven() -> None:
    found = electrode.fit(
        [
            BufferReading(ph=4.01, mv=170.0),
            BufferReading(ph=7.00, mv=0.0),
            BufferReading(ph=10.01, mv=-172.0),
        ],
        celsius=25.0,
    )
    assert found.ph(170.0, celsius=25.0) == pytest.approx(4.01)
    assert found.ph(0.0, celsius=25.0) == pytest.approx(7.00)
    assert found.ph(-172.0, celsius=25.0) == pytest.approx(10.01)


@pytest.mark.parametrize(
    ("readings", "reason"),
    [
        ([(7.0, 0.0)], "two or three"),
        ([(6.5, 30.0), (7.0, 0.0)], "less than 2 pH apart"),
        ([(4.0, -177.0), (7.0, 0.0)], "swapped"),
        ([(4.0, 177.0), (6.0, 80.0), (9.0, -118.0)], "off the line"),
    ],
)
def test_a_bad_calibration_is_refused(readings: list[tuple[float, float]], reason: str) -> None:
    with pytest.raises(RefusedError, match=reason):
        electrode.fit([BufferReading(ph=ph, mv=mv) for ph, mv in readings], celsius=25.0)


@pytest.mark.parametrize(
    ("slope", "offset", "verdict"),
    [
        (0.98, 3.0, Verdict.GOOD),
        (0.93, 3.0, Verdict.CLEAN),
        (0.98, 35.0, Verdict.CLEAN),
        (0.86, 3.0, Verdict.REPLACE),
        (1.04, 3.0, Verdict.CHECK_BUFFER),
    ],
)
def test_the_bands_say_what_to_do(slope: float, offset: float, verdict: Verdict) -> None:
    mv = offset + slope * 3.0 * electrode.nernst_slope(25.0)
    found = electrode.fit(
        [BufferReading(ph=7.0, mv=offset), BufferReading(ph=4.0, mv=mv)], celsius=25.0
    )
    assert found.verdict is verdict
    assert (found.reasons == ()) == (verdict is Verdict.GOOD)


def test_no_compensation_costs_a_twentieth_of_a_ph_at_ten_degrees() -> None:
    # (pH - 7)(t - tcal)/T at pH 5.5 and 10 K: 0.05
    error = electrode.compensation_error(ph=5.5, celsius=35.0, calibrated_at=25.0)
    assert abs(error) == pytest.approx(0.05, abs=0.001)


def test_a_buffer_is_read_at_its_own_temperature() -> None:
    # technical 7.00: 7.02 at 20 °C, 7.00 at 25 °C, half way between in the middle
    assert buffer.ph_of(Buffer.TECHNICAL_7, 22.5) == pytest.approx(7.01)
    assert buffer.cautions(Buffer.TECHNICAL_10)
    with pytest.raises(RefusedError):
        buffer.ph_of(Buffer.TECHNICAL_7, 60.0)


@pytest.mark.parametrize(
    ("error", "past"), [(0.05, Past.KEEP), (0.15, Past.SUSPECT), (-0.3, Past.CORRECT)]
)
def test_drift_as_found_decides_about_the_past(error: float, past: Past) -> None:
    before = electrode.fit(
        [BufferReading(ph=7.0, mv=0.0), BufferReading(ph=4.0, mv=177.0)], celsius=25.0
    )
    found = drift.as_found(
        before, [BufferReading(ph=7.0, mv=-error * before.slopes_mv[0])], celsius=25.0
    )
    assert found.worst == pytest.approx(error)
    assert found.past is past


def test_drift_is_taken_out_evenly_in_time() -> None:
    assert drift.corrected(6.3, at_ms=500, since_ms=0, until_ms=1000, error=0.4) == (
        pytest.approx(6.1)
    )


def test_a_drifting_probe_is_due_before_it_can_be_a_tenth_off() -> None:
    history = [
        Calibrated(at_ms=i * 14 * DAY_MS, slope_percent=98 - i, offset_mv=2.0, found=0.1)
        for i in range(3)
    ]
    found = drift.outlook(history)
    assert found.per_week == pytest.approx(0.05)
    assert found.calibrate_ms - history[-1].at_ms == 14 * DAY_MS
    steady = drift.outlook([Calibrated(at_ms=0, slope_percent=98.0, offset_mv=0.0)])
    assert steady.calibrate_ms == 30 * DAY_MS
    assert steady.check_ms == 7 * DAY_MS


def test_a_falling_slope_and_a_slow_response_are_remarked_on() -> None:
    history = [
        Calibrated(at_ms=i * DAY_MS, slope_percent=98.0 - 2 * i, offset_mv=0.0, response_s=150.0)
        for i in range(3)
    ]
    remarks = " ".join(drift.outlook(history).remarks)
    assert "order a new probe" in remarks
    assert "Clean the glass" in remarks


def test_a_reading_is_at_rest_when_it_has_not_moved_for_two_minutes() -> None:
    moving = [(i * 5000, 7.0 - 0.01 * i) for i in range(30)]
    assert not settling.watch(moving).rest
    rested = moving + [(moving[-1][0] + i * 5000, 6.71) for i in range(1, 30)]
    found = settling.watch(rested)
    assert found.rest
    assert found.value == pytest.approx(6.71, abs=0.005)
    assert found.after_ms == pytest.approx(29 * 5000, abs=10_000)


def test_two_quiet_readings_are_not_yet_rest() -> None:
    assert not settling.watch([(0, 7.0), (5 * MINUTE_MS, 7.0)]).rest
    with pytest.raises(RefusedError):
        settling.watch([])


def test_soft_water_gets_more_patience_and_less_trust() -> None:
    assert settling.patience_ms(30.0) > settling.patience_ms(300.0)
    assert settling.ph_uncertainty(30.0) == 0.2
    assert settling.ph_uncertainty(80.0) == 0.1
    assert settling.ph_uncertainty(300.0) == 0.05
    assert settling.soft_water_advice(30.0)
    assert settling.soft_water_advice(300.0) == ()
