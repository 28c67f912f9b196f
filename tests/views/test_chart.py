"""A chart tells the truth: gaps, windows that step, plans, alarms, deeds, words."""

import itertools
import re
from dataclasses import replace
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.views.room_of_glass import NOW

from roewatch.breeding.plan import Plan, Step
from roewatch.judging.finding import Forecast
from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS
from roewatch.room.quantity import Quantity
from roewatch.room.reading import Flag
from roewatch.room.series import Series
from roewatch.room.window import Window
from roewatch.views.chart import (
    AlarmMark,
    ChartSpec,
    EventMark,
    NoPictureError,
    StageMark,
    WindowSpan,
    png,
    summary,
    svg,
)
from roewatch.views.trace import spells, trace_of

SVG = "{http://www.w3.org/2000/svg}"
FROM = NOW - 7 * DAY_MS


def series(
    points: list[tuple[int, float]], *, flags: list[int] | None = None, thinned: bool = False
) -> Series:
    """pH a minute apart, each point as (minutes after the start, value)."""
    return Series(
        probe="a1-ph",
        tank="A1",
        quantity=Quantity.PH,
        every_ms=MINUTE_MS,
        from_ms=FROM,
        to_ms=NOW,
        at_ms=[FROM + minute * MINUTE_MS for minute, _ in points],
        value=[value for _, value in points],
        flag=flags or [Flag.GOOD] * len(points),
        thinned=thinned,
    )


def spec(*parts: Series, **more: object) -> ChartSpec:
    base: dict[str, object] = {
        "id": "c-ph",
        "title": "A1 pH",
        "quantity": Quantity.PH,
        "from_ms": FROM,
        "to_ms": NOW,
        "now_ms": NOW,
        "zone": "Europe/Tallinn",
        "series": parts,
        "windows": (WindowSpan(from_ms=FROM, to_ms=NOW, window=Window(low=5.0, high=6.0)),),
        "width": 800,
    }
    return ChartSpec(**(base | more))  # type: ignore[arg-type]


def lines(text: str) -> list[str]:
    """The path data of the measured lines."""
    found = re.findall(r'<defs><path id="[^"]*-l\d+" d="([^"]+)"', text)
    return [part for data in found for part in data.split("M") if part]


def test_a_gap_of_three_readings_breaks_the_line() -> None:
    steady = [(m, 5.5) for m in (0, 1, 2, 3, 6, 7)]
    assert len(lines(svg(spec(series(steady))))) == 1
    broken = [(m, 5.5) for m in (0, 1, 2, 3, 7, 8)]
    assert len(lines(svg(spec(series(broken))))) == 2


def test_a_missing_value_breaks_the_line_even_between_neighbours() -> None:
    held = series(
        [(0, 5.5), (1, float("nan")), (2, 5.5)], flags=[Flag.GOOD, Flag.MISSING, Flag.GOOD]
    )
    assert len(lines(svg(spec(held)))) == 2


@given(st.sets(st.integers(0, 2000), min_size=2, max_size=60))
def test_no_line_ever_crosses_a_hole_longer_than_three_readings(minutes: set[int]) -> None:
    trace = trace_of(series([(m, 5.5) for m in sorted(minutes)]))
    for run in trace.runs:
        for (before, _), (after, _) in itertools.pairwise(run):
            assert after - before <= 3 * MINUTE_MS
    assert sum(len(run) for run in trace.runs) == len(minutes)


def test_thinning_alone_makes_no_gap_but_a_real_hole_still_shows() -> None:
    column = 7 * 24 * 60 // 600  # minutes
    thin = [(m, 5.5) for m in range(0, 3000, column)] + [(3000 + 10 * column, 5.5)]
    trace = trace_of(series(thin, thinned=True), columns=600)
    assert len(trace.runs) == 2
    assert trace.holes()[0][1] - trace.holes()[0][0] > 9 * column * MINUTE_MS


def test_a_reading_nobody_believes_is_a_cross_and_no_part_of_the_line() -> None:
    lying = series([(0, 5.5), (1, 14.0), (2, 5.5)], flags=[Flag.GOOD, Flag.BAD, Flag.GOOD])
    trace = trace_of(lying)
    assert trace.points == [(FROM, 5.5), (FROM + 2 * MINUTE_MS, 5.5)]
    assert [value for _, value in trace.disbelieved] == [14.0]
    assert 'd="M-4-4 4 4M4-4-4 4"' in svg(spec(lying))


def test_the_band_steps_with_the_stage() -> None:
    middle = FROM + 3 * DAY_MS
    windows = (
        WindowSpan(from_ms=FROM, to_ms=middle, window=Window(low=5.5, high=7.0)),
        WindowSpan(from_ms=middle, to_ms=NOW, window=Window(low=4.8, high=5.5)),
    )
    picture = svg(
        spec(
            series([(0, 5.6)]),
            windows=windows,
            stages=(StageMark(at_ms=middle, word="spawning"),),
        )
    )
    band = re.search(r'd="(M[^"]+Z)"/><path fill="none" stroke="#4f8f7c"', picture)
    assert band is not None
    assert band[1].count("Z") == 2
    assert ">spawning</text>" in picture
    assert ">4.80</text>" in picture
    assert ">5.50</text>" in picture


def test_time_outside_is_counted_by_the_window_in_force_then() -> None:
    middle = FROM + 60 * MINUTE_MS
    windows = (
        WindowSpan(from_ms=FROM, to_ms=middle, window=Window(low=5.5, high=7.0)),
        WindowSpan(from_ms=middle, to_ms=NOW, window=Window(low=4.8, high=5.5)),
    )
    level = trace_of(series([(m, 6.0) for m in range(120)]))
    (spell,) = spells(level, windows)
    assert (spell.from_ms, spell.to_ms) == (middle, FROM + 119 * MINUTE_MS)
    assert spell.above


def test_a_gap_ends_a_spell_outside() -> None:
    high = trace_of(series([(m, 6.5) for m in (0, 1, 2, 60, 61)]))
    window = spec().windows
    assert [s.to_ms - s.from_ms for s in spells(high, window)] == [2 * MINUTE_MS, MINUTE_MS]


def test_the_summary_says_last_lowest_highest_window_and_gaps() -> None:
    told = summary(spec(series([(0, 5.5), (1, 6.4), (2, 5.2), (600, 5.31)])))
    assert told.startswith("Last pH 5.31 at Fri 6, 00:31")
    assert "lowest 5.20" in told
    assert "highest 6.40" in told
    assert "Window 5.00 to 6.00; outside for 1 min in all." in told
    assert "1 gap without readings, 9 h 58 min in all." in told


def test_an_empty_chart_says_so_and_still_draws_its_axes() -> None:
    assert summary(spec()) == "No readings of pH in this span."
    assert ET.fromstring(svg(spec(windows=()))).tag == f"{SVG}svg"


def test_everything_asked_for_is_on_the_picture() -> None:
    plan = Plan(
        tank="A1",
        quantity=Quantity.PH,
        steps=(Step(at_ms=FROM + DAY_MS, value=5.9), Step(at_ms=NOW + DAY_MS, value=5.1)),
    )
    picture = svg(
        spec(
            series([(m, 5.5) for m in range(0, 7 * 1440, 1)]),
            to_ms=NOW + 12 * HOUR_MS,
            plans=(plan,),
            alarms=(AlarmMark(number=42, from_ms=NOW - DAY_MS, to_ms=None, text="no. 42: pH"),),
            events=(EventMark(at_ms=NOW - 2 * DAY_MS, letter="W", text="water change, 20 %"),),
            forecast=Forecast(NOW + HOUR_MS, NOW + 2 * HOUR_MS, NOW + 4 * HOUR_MS),
            links=True,
        )
    )
    root = ET.fromstring(picture)
    dashes = {e.get("stroke-dasharray") for e in root.iter() if e.get("stroke-dasharray")}
    assert dashes == {"8 5", "2 5", "1 3"}  # plan, forecast, its widening outline
    links = {e.get("href") for e in root.iter(f"{SVG}a")}
    assert links == {"/alarms#no-42", f"#e-{NOW - 2 * DAY_MS}"}
    assert next(e.text for e in root.iter(f"{SVG}title")) == (
        "A1 pH, 5 Nov 14:31 to 13 Nov 02:31, Europe/Tallinn"
    )
    assert root.find(f"{SVG}desc") is not None


def test_alarms_that_begin_side_by_side_share_one_mark_that_tells_them_all() -> None:
    hours = {1: 24, 2: 25, 3: 100}
    alarms = tuple(
        AlarmMark(number=n, from_ms=FROM + h * HOUR_MS, to_ms=FROM + 110 * HOUR_MS, text=f"no. {n}")
        for n, h in hours.items()
    )
    root = ET.fromstring(svg(spec(series([(0, 5.5)]), alarms=alarms, links=True)))
    marks = list(root.iter(f"{SVG}a"))
    assert [mark.get("href") for mark in marks] == ["/alarms", "/alarms#no-3"]
    assert [mark.findtext(f"{SVG}title") for mark in marks] == ["no. 1; no. 2", "no. 3"]
    assert [len(mark.findall(f"{SVG}line")) for mark in marks] == [2, 1]  # each keeps its bar


def test_the_mark_of_the_lowest_reading_stays_off_the_letters_under_the_plot() -> None:
    low = series([(m, 4.0 if m == 600 else 5.5) for m in range(1200)])
    deed = EventMark(at_ms=FROM + 600 * MINUTE_MS, letter="C", text="calibration")
    root = ET.fromstring(svg(spec(low, events=(deed,))))
    tops = {
        word: float(group.get("transform", "").rstrip(")").split()[1])
        for group in root.iter(f"{SVG}g")
        for word in ("!", "C")
        if group.findtext(f"{SVG}text") == word
    }
    assert tops["!"] + 6 <= tops["C"] - 9  # the mark's foot, the letter's upper edge


def test_text_from_outside_cannot_become_markup() -> None:
    nasty = '"><script>alert(1)</script>'
    picture = svg(
        spec(
            series([(0, 5.5)]),
            title=nasty,
            alarms=(AlarmMark(number=1, from_ms=FROM, to_ms=NOW, text=nasty),),
            events=(EventMark(at_ms=FROM, letter="<", text=nasty),),
            stages=(StageMark(at_ms=FROM + HOUR_MS, word=nasty),),
        )
    )
    root = ET.fromstring(picture)
    assert not list(root.iter(f"{SVG}script"))
    assert "<script" not in picture


def test_numbers_of_the_axis_give_way_to_the_bounds_of_the_window() -> None:
    picture = svg(spec(series([(0, 5.1), (1, 6.9)])))
    numbers = {
        text: float(y)
        for y, text in re.findall(r'<text [^>]*y="(\d+)"[^>]*text-anchor="end">([\d.]+)<', picture)
    }
    assert {"5.00", "6.00"} <= numbers.keys()
    assert not {"5.0", "6.0"} & numbers.keys()
    heights = sorted(numbers.values())
    assert all(b - a >= 12 for a, b in itertools.pairwise(heights))


def test_a_fluid_chart_has_no_colours_and_no_styles_of_its_own() -> None:
    picture = svg(spec(series([(0, 5.5), (1, 6.5)]), width=None))
    assert "#" not in re.sub(r'(href="#|url\(#)[^"]*', "", picture)
    assert "style=" not in picture
    assert 'width="100%"' in picture


def test_a_week_of_minute_readings_is_small_on_the_wire() -> None:
    import gzip  # noqa: PLC0415
    import random  # noqa: PLC0415

    chance = random.Random(7)
    noisy = [(m, 5.5 + chance.gauss(0, 0.02)) for m in range(0, 10080, 4)]  # 4 a column
    packed = gzip.compress(svg(spec(series(noisy, thinned=True), width=None, columns=600)).encode())
    assert len(packed) < 12_000


def test_a_span_that_ends_before_it_begins_is_refused() -> None:
    with pytest.raises(ValueError, match="swap the two"):
        spec(to_ms=FROM - 1)


def test_a_png_has_its_numbers_and_without_a_font_there_is_none() -> None:
    drawn = svg(spec(series([(m, 5.5) for m in range(600)])))
    with_text = png(drawn)
    assert with_text.startswith(b"\x89PNG")
    without = png(re.sub(r"<text.*?</text>", "", drawn))
    assert len(with_text) > len(without) + 2000  # the letters are really there
    with pytest.raises(NoPictureError, match="no font"):
        png(drawn, places=("/nowhere",))


def test_each_theme_is_drawn_in_its_own_colours() -> None:
    from roewatch.views.palette import PALETTES, Theme  # noqa: PLC0415

    for theme in Theme:
        picture = svg(replace(spec(series([(0, 5.5)])), theme=theme))
        assert f'fill="{PALETTES[theme].page}"' in picture
