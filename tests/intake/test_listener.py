"""The listener against a real Mosquitto: nothing acknowledged early, nothing lost."""

import itertools
import os
import signal
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pytest
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.reasoncodes import ReasonCode
from tests.journeys.broker import Broker, Publisher, free_port

from roewatch.intake.listener import BrokerSettings, Listener, Message, Will
from roewatch.intake.repeats import Repeats

pytestmark = pytest.mark.needs("mosquitto")

TOPIC = "boathouse/a1/temp"
ticks = itertools.count(1_772_366_400_000, 1000)


def settings(broker: Broker, **more: object) -> BrokerSettings:
    plain = BrokerSettings(
        host=broker.host,
        port=broker.port,
        client_id="boathouse",
        username=broker.user,
        password=broker.password,
    )
    return replace(plain, **more)  # type: ignore[arg-type]


@contextmanager
def listening(
    broker: Broker,
    *topics: str,
    queue_limit: int = 20_000,
    will: Will | None = None,
    await_hearing: bool = True,
    **more: object,
) -> Iterator[Listener]:
    listener = Listener(
        settings(broker, **more),
        topics or (TOPIC,),
        lambda: next(ticks),
        queue_limit=queue_limit,
        will=will,
    )
    listener.start()
    try:
        if await_hearing:
            reach(lambda: listener.hearing, listener)
        yield listener
    finally:
        listener.stop()


def reach(condition: Callable[[], bool], listener: Listener, wait_s: float = 20) -> None:
    """Waits until `condition`, polling at 20 ms; fails with what the link says."""
    pause = threading.Event()
    for _ in range(int(wait_s / 0.02)):
        if condition():
            return
        pause.wait(0.02)
    pytest.fail(f"not reached in {wait_s} s; the link: {listener.link}")


def take(listener: Listener, count: int) -> list[Message]:
    """`count` messages, or fail after some seconds without one."""
    taken: list[Message] = []
    while len(taken) < count:
        group = listener.group(first_wait_s=10)
        assert group, f"only {len(taken)} of {count} came; the link: {listener.link}"
        taken += group
    return taken


def payloads(messages: list[Message]) -> list[bytes]:
    return [message.payload for message in messages]


def test_a_message_carries_topic_bytes_and_arrival(broker: Broker) -> None:
    with listening(broker) as listener, Publisher(broker) as publisher:
        publisher.publish(TOPIC, b"24,6 \xb0C")
        (message,) = take(listener, 1)
        assert (message.topic, message.payload, message.retained) == (TOPIC, b"24,6 \xb0C", False)
        assert message.arrival_ms % 1000 == 0
        assert message.token.qos == 1


def test_what_was_not_acknowledged_comes_again_and_what_was_does_not(broker: Broker) -> None:
    with listening(broker) as listener, Publisher(broker) as publisher:
        publisher.publish(TOPIC, *(str(number) for number in range(10)))
        messages = take(listener, 10)
        listener.acknowledge(messages[:4])
    with listening(broker) as listener:
        again = take(listener, 6)
        assert payloads(again) == payloads(messages[4:])
        assert all(message.dup for message in again)
        listener.acknowledge(again)
    with listening(broker) as listener:
        assert listener.group(first_wait_s=0.3) == []


def test_what_comes_again_after_a_crash_is_recognised_even_through_a_broker_restart(
    broker: Broker,
) -> None:
    repeats = Repeats()
    with listening(broker) as listener, Publisher(broker) as publisher:
        publisher.publish(TOPIC, *["24.6"] * 30)
        kept = take(listener, 30)[:20]
        saved = repeats.keep(kept)  # and never acknowledged
    for restart in (False, True):
        if restart:
            broker.restart()
        with listening(broker) as listener:
            again = take(listener, 30)
            known = [Repeats(saved).known(message) for message in again]
            assert known == [True] * 20 + [False] * 10


def test_the_session_collects_while_we_are_away(broker: Broker) -> None:
    with listening(broker):
        pass
    with Publisher(broker) as publisher:
        publisher.publish(TOPIC, *(str(number) for number in range(200)))
    with listening(broker) as listener:
        messages = take(listener, 200)
        assert payloads(messages) == [b"%d" % number for number in range(200)]
        assert not any(message.retained for message in messages)


def test_a_visitor_leaves_no_session_behind(broker: Broker) -> None:
    def visitor() -> Listener:
        return Listener(settings(broker, client_id="visitor"), ["#"], lambda: 0, lasting=False)

    first = visitor()
    first.start()
    reach(lambda: first.hearing, first)
    first.stop()
    with Publisher(broker) as publisher:
        publisher.publish(TOPIC, "missed")
    second = visitor()
    second.start()
    try:
        reach(lambda: second.hearing, second)
        assert second.group(first_wait_s=0.3) == []
    finally:
        second.stop()


def test_a_clean_broker_restart_loses_nothing_and_the_link_comes_back(broker: Broker) -> None:
    with listening(broker) as listener:
        with Publisher(broker) as publisher:
            publisher.publish(TOPIC, "before")
        broker.stop()
        reach(lambda: not listener.link.connected, listener)
        assert listener.link.why
        broker.start()
        reach(lambda: listener.link.connected, listener)
        assert listener.link.why == ""
        with Publisher(broker) as publisher:
            publisher.publish(TOPIC, "after")
        # "before" may come twice: once over each connection
        seen: list[bytes] = []
        while b"after" not in seen:
            group = take(listener, 1)
            listener.acknowledge(group)
            seen += payloads(group)
        assert set(seen) == {b"before", b"after"}


def test_acknowledging_over_a_new_connection_touches_no_message_of_the_new_one(
    broker: Broker,
) -> None:
    # a broker that lost its store counts its message numbers from 1 again
    with listening(broker) as listener:
        with Publisher(broker) as publisher:
            publisher.publish(TOPIC, "old")
        stale = take(listener, 1)
        broker.kill()
        reach(lambda: not listener.link.connected, listener)
        (broker.folder / "mosquitto.db").unlink(missing_ok=True)
        broker.start()
        reach(lambda: listener.hearing, listener)
        with Publisher(broker) as publisher:
            publisher.publish(TOPIC, "new")
        take(listener, 1)
        listener.acknowledge(stale * 5)
    with listening(broker) as listener:
        assert set(payloads(take(listener, 1))) == {b"new"}


def test_retained_messages_say_so_and_come_once(broker: Broker) -> None:
    with Publisher(broker) as publisher:
        publisher.publish(TOPIC, "24.6", retain=True)
    with listening(broker) as listener:
        (message,) = take(listener, 1)
        assert message.retained
        listener.acknowledge([message])
        broker.restart()
        reach(lambda: not listener.link.connected, listener)
        reach(lambda: listener.link.connected, listener)
        # the session was kept, so nothing was asked for again; our answer may have been lost
        assert all(message.dup for message in listener.group(first_wait_s=0.3))


def test_a_wrong_password_is_told_with_its_cure(broker: Broker) -> None:
    with listening(broker, await_hearing=False, password="wrong") as listener:
        reach(lambda: "refused" in listener.link.why, listener)
        assert not listener.link.connected
        assert "check the name and the password" in listener.link.why
        assert "'roewatch'" in listener.link.why
        assert "wrong" not in listener.link.why


def test_no_broker_is_told_and_tried_again_until_there_is_one(tmp_path: Path) -> None:
    absent = Broker(tmp_path / "broker", port=free_port())
    with listening(absent, await_hearing=False) as listener:
        reach(lambda: "nothing listens on" in listener.link.why, listener)
        with absent:
            reach(lambda: listener.link.connected, listener)
            assert listener.link.why == ""


def test_a_host_without_a_name_is_told() -> None:
    listener = Listener(
        BrokerSettings(host="no-such-host.invalid"), [TOPIC], lambda: 0, queue_limit=1
    )
    listener.start()
    try:
        reach(lambda: "cannot be reached" in listener.link.why, listener)
    finally:
        listener.stop()


def test_a_denied_topic_is_told_while_the_others_work(broker: Broker) -> None:
    # Mosquitto with an access list says yes and then sends nothing; other brokers answer 0x80
    with listening(broker) as listener:
        listener._subscription.asked(9, (TOPIC, "cellar/temp"))
        answers = [ReasonCode(PacketTypes.SUBACK, identifier=code) for code in (1, 0x80)]
        listener._on_subscribe(listener._client, None, 9, answers, None)
        assert listener.link.connected
        assert 'denies 1 of 1 topics, "cellar/temp" among them' in listener.link.why


@pytest.mark.parametrize("topic", ["", "a/#/b", "a+/b", "a/b#"])
def test_a_topic_that_cannot_be_asked_for_is_a_fault_at_once(topic: str) -> None:
    with pytest.raises(ValueError, match="cannot be listened to"):
        Listener(BrokerSettings(host="localhost"), [topic], lambda: 0)


def test_certificates_that_cannot_be_loaded_are_a_fault_at_once(tmp_path: Path) -> None:
    broken = BrokerSettings(host="localhost", tls=True, ca_file=str(tmp_path / "no.pem"))
    with pytest.raises(ValueError, match="check the files"):
        Listener(broken, [TOPIC], lambda: 0)


def test_a_topic_the_settings_dropped_is_handed_over_once_and_unsubscribed(broker: Broker) -> None:
    with listening(broker, TOPIC, "boathouse/a2/temp"):
        pass
    with Publisher(broker) as publisher:
        publisher.publish("boathouse/a2/temp", "25")
        with listening(broker, TOPIC) as listener:
            (message,) = take(listener, 1)
            assert message.topic == "boathouse/a2/temp"
            listener.acknowledge([message])
            for _ in range(100):  # the first may pass before the broker has unsubscribed it
                publisher.publish("boathouse/a2/temp", "26")
                publisher.publish(TOPIC, "27")
                group = take(listener, 1)
                if payloads(group) == [b"27"]:
                    break
            assert payloads(group) == [b"27"]


def test_a_pattern_brings_its_topics(broker: Broker) -> None:
    with listening(broker, "boathouse/+/temp", "cellar/#") as listener:
        with Publisher(broker) as publisher:
            publisher.publish("boathouse/b6/temp", "24")
            publisher.publish("cellar/ph", "6.8")
        topics = [message.topic for message in take(listener, 2)]
        assert topics == ["boathouse/b6/temp", "cellar/ph"]
        assert listener.hearing
        assert not listener._subscription._strays


def test_ten_thousand_topics_are_asked_for(broker: Broker) -> None:
    topics = [f"boathouse/tank-{number}/temp" for number in range(10_000)]
    with listening(broker, *topics) as listener, Publisher(broker) as publisher:
        publisher.publish(topics[-1], "24")
        assert take(listener, 1)[0].topic == topics[-1]


def test_a_full_queue_holds_the_broker_back_and_loses_nothing(broker: Broker) -> None:
    with listening(broker, queue_limit=5) as listener:
        with Publisher(broker) as publisher:
            publisher.publish(TOPIC, *(str(number) for number in range(300)))
        reach(lambda: listener.waiting == 5, listener)
        seen: list[bytes] = []
        while len(seen) < 300:
            group = take(listener, 1)
            listener.acknowledge(group)
            seen += payloads(group)
        assert seen == [b"%d" % number for number in range(300)]


def test_stopping_does_not_wait_for_a_full_queue_and_what_was_in_it_comes_again(
    broker: Broker,
) -> None:
    with listening(broker, queue_limit=5) as listener:
        with Publisher(broker) as publisher:
            publisher.publish(TOPIC, *(str(number) for number in range(50)))
        reach(lambda: listener.waiting == 5, listener)
    assert listener.link.why == "stopped"
    with listening(broker) as listener:
        assert payloads(take(listener, 50)) == [b"%d" % number for number in range(50)]


def test_acknowledgements_given_before_stopping_go_out(broker: Broker) -> None:
    with listening(broker) as listener:
        with Publisher(broker) as publisher:
            publisher.publish(TOPIC, *(str(number) for number in range(900)))
        listener.acknowledge(take(listener, 900))
    with listening(broker) as listener:
        assert listener.group(first_wait_s=0.3) == []


def test_a_broker_that_hangs_is_noticed_and_neither_reading_nor_stopping_hangs_with_it(
    broker: Broker,
) -> None:
    with listening(broker, keepalive_s=1) as listener:
        os.kill(broker.pid, signal.SIGSTOP)
        try:
            reach(lambda: not listener.link.connected, listener)
            reach(lambda: "is the broker stuck?" in listener.link.why, listener)
            assert listener.group(first_wait_s=0.1) == []
        finally:
            os.kill(broker.pid, signal.SIGCONT)
        reach(lambda: listener.hearing, listener)
        os.kill(broker.pid, signal.SIGSTOP)
        try:
            stopping = threading.Thread(target=listener.stop)
            stopping.start()
            stopping.join(30)
            assert not stopping.is_alive()
        finally:
            os.kill(broker.pid, signal.SIGCONT)


def test_the_last_will_speaks_only_when_we_vanish(broker: Broker) -> None:
    will = Will("roewatch/boathouse/status", b"lost")
    watcher = "watcher"
    with listening(broker, will.topic, client_id=watcher) as reader:
        with listening(broker, will=will) as listener:
            listener.publish(will.topic, b"up", retain=True)
            assert payloads(take(reader, 1)) == [b"up"]
        assert reader.group(first_wait_s=0.3) == []
        lost = Listener(settings(broker), [TOPIC], lambda: 0, will=will)
        lost.start()
        reach(lambda: lost.link.connected, lost)
        sock = lost._client.socket()
        assert sock is not None
        lost._stopping.set()
        lost._client._reconnect_on_failure = False
        socket.socket(fileno=os.dup(sock.fileno())).shutdown(socket.SHUT_RDWR)
        assert payloads(take(reader, 1)) == [b"lost"]
        lost.stop()


def test_what_is_published_without_a_link_goes_out_when_there_is_one(broker: Broker) -> None:
    with listening(broker, "out", client_id="watcher") as reader:
        broker.stop()
        reach(lambda: not reader.link.connected, reader)
        with listening(broker, await_hearing=False) as listener:
            for number in range(50):
                listener.publish("out", b"%d" % number)
            broker.start()
            reach(lambda: listener.link.connected and reader.link.connected, listener)
            assert payloads(take(reader, 50)) == [b"%d" % number for number in range(50)]


def test_a_dead_network_thread_is_started_again(
    broker: Broker, caplog: pytest.LogCaptureFixture
) -> None:
    with listening(broker) as listener:
        thread = listener._thread
        assert thread is not None
        listener._client._thread_terminate = True  # what an exception in paho's loop comes to
        thread.join(5)
        assert listener.group(first_wait_s=0) == []
        assert "broker_thread_died" in caplog.text
        reach(lambda: listener.hearing, listener)
        with Publisher(broker) as publisher:
            publisher.publish(TOPIC, "heard again")
        assert payloads(take(listener, 1)) == [b"heard again"]
