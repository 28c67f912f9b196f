"""Buffered: paho's client on a line that is read and acknowledged in blocks.

As it comes it asks the kernel three times for each message and once more for each acknowledgement,
and looks whether there is anything to do in between; at thousands of messages a second that is most
of what a message costs.
"""

import ssl
import struct
from collections.abc import Iterable
from typing import Protocol

from paho.mqtt.client import Client
from paho.mqtt.enums import MQTTErrorCode

_BLOCK = 65_536
_AT_ONCE = 100  # messages read before it is looked whether there is something to send
_PUBACK = 0x40  # MQTT 3.1.1 §3.4
_ACKNOWLEDGEMENT = struct.Struct(">BBH")  # kind, bytes that follow, message number
_NOT_NOW = (BlockingIOError, ssl.SSLWantWriteError, ssl.SSLWantReadError)


class Socket(Protocol):
    """What paho needs of a line, plain or TLS."""

    def recv(self, size: int, /) -> bytes: ...
    def send(self, data: bytes | bytearray, /) -> int: ...
    def close(self) -> None: ...
    def fileno(self) -> int: ...
    def setblocking(self, flag: bool, /) -> None: ...


class Line:
    """A socket that reads ahead, and holds acknowledgements back until `flush`; nothing else."""

    def __init__(self, socket: Socket) -> None:
        self._socket = socket
        self._ahead = b""
        self._read = 0
        self._acknowledgements = bytearray()
        self._broken: OSError | None = None

    def recv(self, size: int) -> bytes:
        """At most `size` bytes; b"" at the end. Raises OSError, BlockingIOError when none wait."""
        if self._read == len(self._ahead):
            if self._broken is not None:
                raise self._broken
            self._ahead, self._read = self._socket.recv(_BLOCK), 0
        begin = self._read
        self._read = min(begin + size, len(self._ahead))
        return self._ahead[begin : self._read]

    def pending(self) -> int:
        """Bytes read ahead; paho does not wait while there are any."""
        decoded = getattr(self._socket, "pending", int)()  # TLS decodes ahead as well
        return len(self._ahead) - self._read + int(decoded) + (self._broken is not None)

    def send(self, data: bytes | bytearray) -> int:
        """How much was taken. Raises OSError, BlockingIOError when nothing can be now."""
        if data and data[0] == _PUBACK:
            self._acknowledgements += data
            return len(data)
        while self._acknowledgements:  # what came before goes before
            self._send_acknowledgements()
        return self._socket.send(data)

    def flush(self) -> None:
        """Send what is held back, as far as the line takes it now; `unsent` says if it did."""
        try:
            while self._acknowledgements:
                self._send_acknowledgements()
        except _NOT_NOW:
            return
        except OSError as error:
            self._acknowledgements.clear()
            self._broken = error  # whoever reads next meets it, and that is always awaited

    def _send_acknowledgements(self) -> None:
        sent = self._socket.send(self._acknowledgements)
        del self._acknowledgements[:sent]

    @property
    def unsent(self) -> bool:
        """Whether acknowledgements wait for the line to take them."""
        return bool(self._acknowledgements)

    def close(self) -> None:
        """As of the socket. What is still held back is lost, and its messages come again."""
        self._socket.close()

    def fileno(self) -> int:
        """As of the socket."""
        return self._socket.fileno()

    def setblocking(self, flag: bool) -> None:
        """As of the socket."""
        self._socket.setblocking(flag)


class BufferedClient(Client):
    """Behaves as paho's own."""

    _line: Line | None = None

    def _create_socket(self) -> Line:
        self._line = Line(super()._create_socket())
        return self._line

    def acknowledge(self, mids: Iterable[int]) -> None:
        """As `ack` of each message at QoS 1, in that order, but all as one packet."""
        acknowledgements = [_ACKNOWLEDGEMENT.pack(_PUBACK, 2, mid) for mid in mids]
        if acknowledgements:
            self._packet_queue(_PUBACK, b"".join(acknowledgements), 0, 1)

    def loop_read(self, max_packets: int = 1) -> MQTTErrorCode:
        """Some of the messages that wait, and no more of them than leaves time to answer."""
        code = super().loop_read(max_packets)
        line = self._line
        for _ in range(_AT_ONCE):
            if code != MQTTErrorCode.MQTT_ERR_SUCCESS or line is None:
                break
            if self.socket() is None or not line.pending():
                break
            code = super().loop_read(max_packets)
        return code

    def loop_write(self) -> MQTTErrorCode:
        """All that waits, in one go."""
        code = super().loop_write()
        if self._line is not None:
            self._line.flush()
        return code

    def want_write(self) -> bool:
        """Also while acknowledgements wait."""
        return super().want_write() or (self._line is not None and self._line.unsent)
