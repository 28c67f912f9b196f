"""A message that was kept and comes again is known; every other one is not."""

from hypothesis import given, settings
from hypothesis import strategies as st

from roewatch.intake.message import Message, Token
from roewatch.intake.repeats import LONGEST_MS, MOST, Repeats


def message(
    mid: int,
    payload: bytes = b"24.6",
    *,
    topic: str = "t",
    dup: bool = True,
    at_ms: int = 1000,
    qos: int = 1,
) -> Message:
    return Message(topic, payload, False, at_ms, Token(mid, qos, 1), dup)


def test_a_repeat_of_what_was_kept_is_known_and_a_first_sending_never_is() -> None:
    repeats = Repeats()
    repeats.keep([message(1, dup=False)])
    assert repeats.known(message(1))
    assert not repeats.known(message(1, dup=False))


def test_another_number_topic_or_payload_is_another_message() -> None:
    repeats = Repeats()
    repeats.keep([message(1)])
    assert not repeats.known(message(2))
    assert not repeats.known(message(1, b"24.7"))
    assert not repeats.known(message(1, topic="u"))


def test_what_was_saved_is_known_after_a_crash() -> None:
    before = Repeats()
    saved = before.keep([message(number) for number in range(1, 40)])
    after = Repeats(saved)
    assert all(after.known(message(number)) for number in range(1, 40))
    assert not after.known(message(40))
    assert after.saved() == saved


def test_memory_is_bounded_in_number_and_in_time() -> None:
    repeats = Repeats()
    repeats.keep(message(number) for number in range(1, MOST + 11))
    assert not repeats.known(message(10))
    assert repeats.known(message(11))
    repeats.keep([message(9, at_ms=1000 + LONGEST_MS + 1)])
    assert not repeats.known(message(MOST))
    assert repeats.known(message(9))
    assert len(repeats.saved()) < 40


def test_qos_0_is_not_remembered() -> None:
    repeats = Repeats()
    assert repeats.keep([message(0, qos=0)]) == ""


@settings(deadline=None)
@given(st.text() | st.binary().map(lambda raw: raw.decode("latin-1")))
def test_a_damaged_memory_counts_as_none(saved: str) -> None:
    assert isinstance(Repeats(saved).saved(), str)


@settings(deadline=None)
@given(st.lists(st.tuples(st.integers(1, 5), st.sampled_from([b"1", b"2"])), max_size=2000))
def test_it_knows_exactly_the_last_thousand(kept: list[tuple[int, bytes]]) -> None:
    repeats = Repeats()
    for mid, payload in kept:
        repeats.keep([message(mid, payload)])
    last = set(kept[-MOST:])
    for mid in range(1, 6):
        for payload in (b"1", b"2"):
            assert repeats.known(message(mid, payload)) == ((mid, payload) in last)
