"""The buffered line: the same bytes in the same order, in fewer pieces."""

import socket
from collections.abc import Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st
from paho.mqtt.enums import CallbackAPIVersion

from roewatch.intake.buffered import BufferedClient, Line


class Wire:
    """A socket that takes only so many bytes at once, and gives what is put in."""

    def __init__(self, room: list[int]) -> None:
        self._room = room
        self.sent = b""
        self.calls = 0
        self.dead = False

    def recv(self, _: int) -> bytes:
        raise BlockingIOError

    def send(self, data: bytes | bytearray) -> int:
        self.calls += 1
        if self.dead:
            raise ConnectionResetError("the broker hung up")
        taken = min(len(data), self._room.pop(0) if self._room else len(data))
        if not taken:
            raise BlockingIOError
        self.sent += data[:taken]
        return taken

    def close(self) -> None: ...

    def fileno(self) -> int:
        return -1

    def setblocking(self, flag: bool) -> None: ...


def puback(mid: int) -> bytes:
    return bytes((0x40, 2, mid >> 8, mid & 255))


@pytest.fixture
def ends() -> Iterator[tuple[Line, socket.socket]]:
    ours, theirs = socket.socketpair()
    ours.setblocking(False)
    with ours, theirs:
        yield Line(ours), theirs


def test_what_came_in_one_piece_is_given_in_the_pieces_asked_for(
    ends: tuple[Line, socket.socket],
) -> None:
    line, broker = ends
    broker.sendall(b"0123456789")
    assert [line.recv(1), line.recv(1), line.recv(5)] == [b"0", b"1", b"23456"]
    assert line.pending() == 3
    assert line.recv(100) == b"789"
    assert line.pending() == 0
    with pytest.raises(BlockingIOError):
        line.recv(1)
    broker.close()
    assert line.recv(1) == b""


def test_acknowledgements_go_in_one_piece_when_flushed() -> None:
    wire = Wire([])
    line = Line(wire)
    for mid in range(500):
        assert line.send(puback(mid)) == 4
    assert (wire.calls, line.unsent) == (0, True)
    line.flush()
    assert (wire.calls, line.unsent) == (1, False)
    assert wire.sent == b"".join(map(puback, range(500)))


@given(
    words=st.lists(st.integers(0, 3)),
    room=st.lists(st.integers(0, 9)),
)
def test_whatever_the_wire_takes_at_once_every_byte_goes_once_and_in_order(
    words: list[int], room: list[int]
) -> None:
    wire = Wire(room)
    line = Line(wire)
    meant = b""
    for place, word in enumerate(words):
        left = puback(place) if word else b"\x30\x03abc"
        while left:  # as paho does with what was not taken
            try:
                sent = line.send(left)
            except BlockingIOError:
                continue
            meant, left = meant + left[:sent], left[sent:]
        if word == 2:
            line.flush()
    while line.unsent:
        line.flush()
    assert wire.sent == meant


def test_a_line_that_breaks_while_acknowledgements_go_out_says_so_to_who_reads() -> None:
    wire = Wire([])
    line = Line(wire)
    line.send(puback(1))
    wire.dead = True
    line.flush()
    assert line.pending() > 0
    with pytest.raises(ConnectionResetError):
        line.recv(1)


def test_many_acknowledgements_are_those_the_standard_asks_for() -> None:
    # MQTT 3.1.1 §3.4: 0x40, two bytes follow, the message's number with its high byte first
    client = BufferedClient(CallbackAPIVersion.VERSION2, manual_ack=True)
    client.acknowledge([1, 258, 65535])
    (packet,) = client._out_packet
    assert packet["packet"] == b"\x40\x02\x00\x01\x40\x02\x01\x02\x40\x02\xff\xff"
