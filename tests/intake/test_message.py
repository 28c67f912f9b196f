"""The queue between the network's thread and the watch: order, groups, bounds, and letting go."""

import threading

from roewatch.intake.message import BURST, Message, MessageQueue, Stamps, Token


def message(number: int) -> Message:
    return Message("t", b"%d" % number, False, number, Token(number, 1, 1))


def test_a_group_is_in_order_of_arrival_and_no_larger_than_asked() -> None:
    queue = MessageQueue(10)
    for number in range(5):
        assert queue.put(message(number))
    first = queue.group(wait_s=0, limit=3, first_wait_s=0)
    rest = queue.group(wait_s=0, limit=3, first_wait_s=0)
    assert [one.arrival_ms for one in first + rest] == [0, 1, 2, 3, 4]
    assert len(first) == 3


def test_an_empty_queue_gives_an_empty_group() -> None:
    assert MessageQueue(10).group(wait_s=0, limit=3, first_wait_s=0) == []


def test_a_waiting_watch_is_woken_by_the_first_message() -> None:
    queue = MessageQueue(10)
    late = threading.Timer(0.05, queue.put, [message(7)])
    late.start()
    group = queue.group(wait_s=0, limit=5, first_wait_s=30)
    late.join()
    assert [one.arrival_ms for one in group] == [7]


def test_gathering_ends_as_soon_as_the_group_is_full() -> None:
    queue = MessageQueue(100)
    feeder = threading.Thread(target=lambda: [queue.put(message(number)) for number in range(50)])
    feeder.start()
    group = queue.group(wait_s=30, limit=50, first_wait_s=30)
    feeder.join()
    assert len(group) == 50


def test_gathering_ends_with_a_burst_because_the_broker_waits_for_us_then() -> None:
    queue = MessageQueue(1000)
    for number in range(BURST):
        queue.put(message(number))
    groups: list[list[Message]] = []
    watch = threading.Thread(
        target=lambda: groups.append(queue.group(wait_s=120, limit=500, first_wait_s=0))
    )
    watch.start()
    watch.join(30)
    assert [len(group) for group in groups] == [BURST]


def test_steady_messages_are_gathered_to_the_end() -> None:
    queue = MessageQueue(1000)
    queue.put(message(0))
    gap = threading.Event()

    def steady() -> None:
        for number in range(1, 8):
            gap.wait(0.02)
            queue.put(message(number))

    feeder = threading.Thread(target=steady)
    feeder.start()
    group = queue.group(wait_s=120, limit=8, first_wait_s=0)
    assert [one.arrival_ms for one in group] == list(range(8))
    feeder.join()


def test_few_messages_are_gathered_for_longer_and_many_are_not() -> None:
    queue = MessageQueue(1000)
    queue.put(message(0))
    feeder = threading.Timer(0.05, queue.put, [message(1)])
    feeder.start()
    assert len(queue.group(wait_s=0, limit=2, first_wait_s=0, slow_s=120)) == 2
    feeder.join()
    for number in range(BURST):
        queue.put(message(number))
    assert len(queue.group(wait_s=0, limit=500, first_wait_s=0, slow_s=120)) == BURST


def test_a_watch_with_something_else_to_do_is_let_go_with_what_there_is() -> None:
    queue = MessageQueue(10)
    queue.put(message(0))
    waker = threading.Timer(0.05, queue.wake)
    waker.start()
    assert len(queue.group(wait_s=120, limit=5, first_wait_s=0)) == 1
    waker.join()
    queue.wake()
    assert queue.group(wait_s=120, limit=5, first_wait_s=120) == [], "also if it came before"


def test_a_full_queue_holds_its_filler_back_and_loses_nothing() -> None:
    queue = MessageQueue(3)
    feeder = threading.Thread(target=lambda: [queue.put(message(number)) for number in range(20)])
    feeder.start()
    seen: list[int] = []
    while len(seen) < 20:
        group = queue.group(wait_s=0.01, limit=50, first_wait_s=5)
        assert 0 < len(group) <= 3
        seen += [one.arrival_ms for one in group]
    feeder.join(5)
    assert seen == list(range(20))


def test_closing_frees_a_filler_that_waits_for_room() -> None:
    queue = MessageQueue(1)
    queue.put(message(0))
    taken: list[bool] = []
    feeder = threading.Thread(target=lambda: taken.append(queue.put(message(1))))
    feeder.start()
    queue.close()
    feeder.join(5)
    assert taken == [False]


def test_closing_frees_a_watch_that_waits_for_messages() -> None:
    queue = MessageQueue(1)
    closer = threading.Timer(0.05, queue.close)
    closer.start()
    assert queue.group(wait_s=30, limit=5, first_wait_s=30) == []
    closer.join()


def test_no_two_messages_of_a_topic_arrive_at_one_moment() -> None:
    stamps = Stamps(lambda: 1000)
    assert [stamps.of("a") for _ in range(4)] == [1000, 1001, 1002, 1003]
    assert stamps.of("b") == 1000


def test_stamps_follow_the_clock_again_once_it_is_ahead() -> None:
    clock = iter([1000, 1000, 1000, 5000, 5000])
    stamps = Stamps(lambda: next(clock))
    assert [stamps.of("a") for _ in range(5)] == [1000, 1001, 1002, 5000, 5001]


def test_a_clock_set_back_far_is_followed_at_once() -> None:
    clock = iter([10_000_000, 6_400_000, 6_400_000])
    stamps = Stamps(lambda: next(clock))
    assert [stamps.of("a") for _ in range(3)] == [10_000_000, 6_400_000, 6_400_001]


def test_one_sent_again_while_its_first_copy_waits_counts_once_from_when_it_first_came() -> None:
    queue = MessageQueue(10)
    first = Message("t", b"6.1", False, 1000, Token(7, 1, 1), ticked_s=1.0)
    other = Message("t", b"6.2", False, 2000, Token(8, 1, 1), ticked_s=2.0)
    queue.put(first)
    queue.put(other)
    again = Token(7, 1, 2)
    queue.put(Message("t", b"6.1", False, 9000, again, dup=True, ticked_s=9.0))
    queue.put(Message("t", b"6.1", False, 9001, Token(7, 1, 2), dup=True, ticked_s=9.0))
    assert queue.group(wait_s=0, limit=9, first_wait_s=0) == [
        other,
        first._replace(token=again, dup=True),
        Message("t", b"6.1", False, 9001, Token(7, 1, 2), dup=True, ticked_s=9.0),
    ]
