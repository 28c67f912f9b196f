"""`roewatch rooms`: every room at a glance, from what the broker keeps of it."""

import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.journeys.broker import Broker, Publisher
from typer.testing import CliRunner, Result

from roewatch.intake.message import Message, Token
from roewatch.service.cli import app
from roewatch.service.cli.rooms import seen
from roewatch.service.counts import Counts
from roewatch.service.status import Status, status_text

runner = CliRunner()
BAD_UNTIL = b'{"state":"watching","since":"","version":"","good_until":7}'
SINCE = Status(since_ms=1_772_364_000_000)


def status(room: str, payload: bytes) -> Message:
    return Message(f"roewatch/{room}/status", payload, True, 0, Token(0, 0, 0))


def test_what_a_daemon_says_of_itself_is_read_back() -> None:
    (loft, shed) = seen(
        [
            status("shed", status_text(SINCE, "gone")),
            status("loft", status_text(SINCE, "watching", Counts(kept=41))),
        ],
        SINCE.since_ms,
    )
    assert (loft.room, loft.state, loft.since, loft.kept) == (
        "loft",
        "watching",
        "2026-03-01T11:20:00Z",
        41,
    )
    assert (shed.state, shed.kept) == ("gone", None)


def test_the_latest_word_counts() -> None:
    words = ["watching", "gone", "watching"]
    (loft,) = seen((status("loft", status_text(SINCE, word)) for word in words), SINCE.since_ms)
    assert loft.state == "watching"


@given(
    st.binary(max_size=40)
    | st.sampled_from([b"[]", b"{}", b"1", b'{"state":1}', b"[" * 9999, BAD_UNTIL])
)
def test_whatever_else_lies_there_is_unreadable(payload: bytes) -> None:
    (loft,) = seen([status("loft", payload)], SINCE.since_ms)
    assert loft.state == "unreadable"


@pytest.mark.parametrize(
    ("word", "after_s", "state"),
    [
        ("watching", 900, "watching"),
        ("watching", 901, "stale"),
        ("waiting", 901, "stale"),
        ("stopped", 900_000, "stopped"),
    ],
)
def test_a_daemon_that_should_have_said_more_by_now_is_stale(
    word: str, after_s: int, state: str
) -> None:
    said = status_text(SINCE._replace(good_for_ms=900_000), word, at_ms=SINCE.since_ms + 60_000)
    (loft,) = seen([status("loft", said)], SINCE.since_ms + 60_000 + after_s * 1000)
    assert (loft.state, loft.at) == (state, "2026-03-01T11:21:00Z")


def rooms(broker: Broker, *more: str) -> Result:
    secret = broker.folder / "secret"
    secret.write_text(broker.password)
    words = ["rooms", "--host", broker.host, "--port", str(broker.port), "--seconds", "0.5"]
    words += ["--username", broker.user, "--password-file", str(secret)]
    return runner.invoke(app, [*words, *more])


@pytest.mark.needs("mosquitto")
def test_all_rooms_of_a_broker_are_shown_and_one_that_is_gone_ends_with_1(tmp_path: Path) -> None:
    with Broker(tmp_path / "broker") as broker:
        assert "No room has ever spoken" in rooms(broker).stderr
        with Publisher(broker, "daemons") as daemons:
            for name in ("loft", "shed"):
                payload = status_text(SINCE, "watching", Counts(kept=5))
                daemons.publish(f"roewatch/{name}/status", payload, retain=True)
            done = rooms(broker, "--json")
            assert done.exit_code == 0, done.output
            assert [json.loads(line)["room"] for line in done.stdout.splitlines()] == [
                "loft",
                "shed",
            ]
            daemons.publish("roewatch/shed/status", status_text(SINCE, "gone"), retain=True)
        done = rooms(broker)
        assert done.exit_code == 1
        assert "gone" in done.stdout
