"""A small MQTT 3.1.1 client: what a node needs and no more.

Clean session, last will, user name and password; publishes at QoS 1 and waits for the receipt, so one message is on
its way at a time and order is kept; subscribes at QoS 0 (what the node listens to is repeated by nature).

Every wait has an end. No network error leaves this module: a method answers True, or it has closed the connection,
written one line and answers False, and the caller connects again. While a method waits it calls `idle()`, so that the
node goes on measuring. Reference: OASIS, MQTT Version 3.1.1 (2014), sections 2 and 3.
"""

import select
import socket

_CONNACK = 0x20
_PUBLISH = 0x30
_PUBACK = 0x40
_SUBACK = 0x90
_PINGRESP = 0xD0

_MAX_PACKET = 1024  # bytes; what the node listens to is under 100. A longer packet is read past, not held
_SLICE_MS = 50  # the longest wait between two calls of idle()


class Client:
    """`will` is (topic, payload), retained; `now_ms()` only goes forward; `timeout_ms` is for each answer.

    `on_message(topic, payload, retained)` gets str, bytes, bool; `idle()` is called while the client waits.
    """

    def __init__(
        self, host, port, client_id, *, keepalive_s, will, user, password, timeout_ms, now_ms, idle, on_message
    ):
        self._address = host, port
        self._client_id = client_id
        self._keepalive_s = keepalive_s
        self._will = will
        self._login = user, password
        self._timeout_ms = timeout_ms
        self._now_ms = now_ms
        self._idle = idle
        self._on_message = on_message
        self._socket = None
        self._poller = None
        self._packet_id = 0
        self._sent_ms = 0
        self._ping_ms = None  # when the ping was sent that has no answer yet

    @property
    def connected(self):
        return self._socket is not None

    def connect(self):
        return self._safely(self._connect)

    def subscribe(self, topic):
        return self._safely(self._subscribe, topic)

    def publish(self, topic, payload, retain=False):
        """QoS 1; True once the broker has given its receipt."""
        return self._safely(self._publish, topic, payload, retain)

    def serve(self, wait_ms):
        """Take what comes within `wait_ms`, and keep the connection alive."""
        return self._safely(self._serve, wait_ms)

    def close(self):
        """Drop the connection without a farewell: the broker then publishes the last will."""
        if self._socket is not None:
            self._socket.close()
        self._socket = self._poller = None

    def _safely(self, act, *arguments):
        try:
            act(*arguments)
            return True
        except (OSError, ValueError, IndexError) as error:  # the last two: bytes that are not MQTT
            self.close()
            print("mqtt lost reason=%r" % error)
            return False

    def _connect(self):
        self.close()
        self._ping_ms = None
        self._socket = socket.socket()
        self._socket.settimeout(max(1, self._timeout_ms // 1000))
        self._socket.connect(socket.getaddrinfo(self._address[0], self._address[1])[0][-1])
        self._poller = select.poll()
        self._poller.register(self._socket, select.POLLIN)

        user, password = self._login
        flags = 0x02 | 0x04 | 0x08 | 0x20  # clean session; a will, at QoS 1, retained
        fields = [self._client_id, self._will[0], self._will[1]]
        if user:
            flags |= 0x80 | 0x40
            fields += [user, password]
        body = b"\x00\x04MQTT\x04" + bytes((flags,)) + _two(self._keepalive_s)
        self._send(0x10, body + b"".join([_text(field) for field in fields]))
        answer = self._await(_CONNACK)
        if answer[1]:
            why = ": user or password" if answer[1] in (4, 5) else ""
            raise OSError("refused with code %d%s" % (answer[1], why))

    def _subscribe(self, topic):
        packet_id = self._next_id()
        self._send(0x82, packet_id + _text(topic) + b"\x00")
        answer = self._await(_SUBACK, packet_id)
        if answer[2] & 0x80:
            raise OSError("may not listen to " + topic)

    def _publish(self, topic, payload, retain):
        packet_id = self._next_id()
        self._send(_PUBLISH | 0x02 | (1 if retain else 0), _text(topic) + packet_id + payload)
        self._await(_PUBACK, packet_id)

    def _serve(self, wait_ms):
        self._take(wait_ms)
        now_ms = self._now_ms()
        if self._ping_ms is not None:
            if now_ms - self._ping_ms > self._timeout_ms:
                raise OSError("no answer to a ping")
        elif now_ms - self._sent_ms >= self._keepalive_s * 500:  # at half the agreed silence
            self._send(0xC0, b"")
            self._ping_ms = now_ms

    def _await(self, kind, packet_id=None):
        """The body of the next packet of that kind (and id); what else comes meanwhile is dealt with."""
        end_ms = self._now_ms() + self._timeout_ms
        while self._now_ms() < end_ms:
            self._idle()
            got, body = self._take(_SLICE_MS)
            if got == kind and (packet_id is None or body[:2] == packet_id):
                return body
        raise OSError("no answer in %d ms" % self._timeout_ms)

    def _take(self, wait_ms):
        """One packet, when one begins to come within `wait_ms`: (kind, body); (None, b"") when none does."""
        if not self._poller.poll(wait_ms):
            return None, b""
        end_ms = self._now_ms() + self._timeout_ms
        head = self._read(1, end_ms)[0]
        length = self._read_length(end_ms)
        if length > _MAX_PACKET:
            while length:
                length -= len(self._read(min(length, 256), end_ms))
            return None, b""
        body = self._read(length, end_ms)
        if head & 0xF0 == _PUBLISH:
            self._hand_over(head, body)
        elif head == _PINGRESP:
            self._ping_ms = None
        return head & 0xF0, body

    def _hand_over(self, head, body):
        start = 2 + (body[0] << 8 | body[1])
        topic = str(body[2:start], "utf-8")
        if head & 0x06:  # not asked for; answered all the same, or the broker would wait for ever
            self._send(_PUBACK, body[start : start + 2])
            start += 2
        self._on_message(topic, body[start:], bool(head & 1))

    def _read_length(self, end_ms):
        length = 0
        for shift in (0, 7, 14, 21):
            byte = self._read(1, end_ms)[0]
            length |= (byte & 0x7F) << shift
            if byte < 0x80:
                return length
        raise ValueError("length of a packet")

    def _read(self, count, end_ms):
        data = b""
        while len(data) < count:
            if self._now_ms() > end_ms:
                raise OSError("half a packet in %d ms" % self._timeout_ms)
            if not self._poller.poll(_SLICE_MS):
                self._idle()
                continue
            more = self._socket.recv(count - len(data))
            if not more:
                raise OSError("closed by the broker")
            data += more
        return data

    def _send(self, head, body):
        length = len(body)
        packet = bytearray((head,))
        while True:
            packet.append(length & 0x7F | (0x80 if length > 0x7F else 0))
            length >>= 7
            if not length:
                break
        packet += body
        sent = 0
        while sent < len(packet):
            sent += self._socket.send(memoryview(packet)[sent:])
        self._sent_ms = self._now_ms()

    def _next_id(self):
        self._packet_id = self._packet_id % 0xFFFF + 1
        return _two(self._packet_id)


def _two(number):
    return bytes((number >> 8, number & 0xFF))


def _text(text):
    data = text if isinstance(text, bytes) else text.encode()
    return _two(len(data)) + data
