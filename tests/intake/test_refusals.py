"""The refusal log: every refusal counted, memory bounded, one log line for each change."""

import logging

import pytest

from roewatch.intake.decode import Refused
from roewatch.intake.refusals import CLEAN_RUN, OTHER_TOPICS, RefusalLog, RefusedTopic


def bad(topic: str = "a1/temp", why: str = "not a number", example: str = '"x"') -> Refused:
    return Refused(topic, why, example)


def test_refusals_are_counted_by_topic_with_the_latest_example() -> None:
    refusals = RefusalLog()
    refusals.refused(bad())
    refusals.refused(bad(why="too large", example='"9"'))
    refusals.refused(bad("b2/temp"))
    assert refusals.topics() == (
        RefusedTopic(topic="a1/temp", count=2, why="too large", example='"9"', open=True),
        RefusedTopic(topic="b2/temp", count=1, why="not a number", example='"x"', open=True),
    )
    assert refusals.total == 3


def test_topics_past_the_limit_are_counted_together() -> None:
    refusals = RefusalLog(topic_limit=3)
    for number in range(50):
        refusals.refused(bad(f"t{number}"))
    refusals.refused(bad("t1"))
    counts = {one.topic: one.count for one in refusals.topics()}
    assert counts == {"t0": 1, "t1": 2, "t2": 1, OTHER_TOPICS: 47}
    assert refusals.total == 51


def test_a_topic_of_absurd_length_is_not_kept() -> None:
    refusals = RefusalLog()
    refusals.refused(bad("x" * 60_000))
    assert [one.topic for one in refusals.topics()] == [OTHER_TOPICS]


def test_one_line_tells_the_first_refusal_and_one_the_mending(
    caplog: pytest.LogCaptureFixture,
) -> None:
    caplog.set_level(logging.INFO)
    refusals = RefusalLog()
    for _ in range(41):
        refusals.refused(bad(example='"24.6 bar"'))
    for _ in range(CLEAN_RUN + 5):
        refusals.accepted("a1/temp")
        refusals.accepted("never/refused")
    first, again = [record.getMessage() for record in caplog.records]
    assert first == 'payload_refused topic="a1/temp" got="24.6 bar" why="not a number"'
    assert again == 'payload_accepted_again topic="a1/temp" refused=41'
    assert not refusals.topics()[0].open


def test_a_topic_refused_now_and_then_does_not_fill_the_log(
    caplog: pytest.LogCaptureFixture,
) -> None:
    caplog.set_level(logging.INFO)
    refusals = RefusalLog()
    for _ in range(100):
        refusals.refused(bad())
        for _ in range(CLEAN_RUN - 1):
            refusals.accepted("a1/temp")
    assert len(caplog.records) == 1
    assert refusals.total == 100


def test_a_topic_cannot_forge_a_log_line(caplog: pytest.LogCaptureFixture) -> None:
    RefusalLog().refused(bad("a\nERROR all is lost"))
    assert '"a\\nERROR all is lost"' in caplog.text
    assert len(caplog.text.splitlines()) == 1


def test_old_news_is_counted_apart() -> None:
    refusals = RefusalLog()
    refusals.old_news()
    assert (refusals.retained_dropped, refusals.total) == (1, 0)
