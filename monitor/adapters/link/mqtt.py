"""The link to the broker: subscribes, hands each message on as it comes, and gives the broker its receipt when it is told to.

Callbacks run on the library's network thread, which an exception in one of them ends without a word, while the link still looks
connected; `supervise`, called each second, notices that, and notices by a ping of our own that nothing comes back.

A receipt is (generation, packet id). The broker numbers packets anew for each connection, so an id of an old one could
acknowledge a message that nobody has seen. The generation changes whenever a connection begins or ends, and checking it and
sending the acknowledgement are one step under the lock. What was not acknowledged comes again after the next connection.
"""

from __future__ import annotations

import logging
import secrets
import ssl
import sys
import threading
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import field
from pathlib import Path

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from monitor.adapters.link.read_ahead import Client
from monitor.adapters.link.wire import speaks_elsewhere
from monitor.domain.fixed import fixed
from monitor.domain.readings.reading import Message, Refused
from monitor.domain.refusal import Refusal
from monitor.domain.state.happened import (
    CONNECTED,
    ENDED,
    HEARD_AGAIN,
    LOST,
    NO_EAR,
    NO_ENTRY,
    NOT_THERE,
    TAKEN,
    UNHEARD,
    Broker,
)
from monitor.service.ports import Receipt

RECONNECT_S = (1, 5)  # on the house's own network: after an outage of hours the daemon is back within seconds
SESSION_EXPIRY_S = 14 * 86_400  # MQTT 5: how long the broker keeps for us what came while we were away
PING_EVERY_S = 10.0
SILENT_PINGS = 3  # so many without an answer are one trouble
MAX_UNWRITTEN = 1_000  # messages of ours to a broker that takes none, until keep-alive ends that connection
MAX_RETAINED = 256  # topics whose newest state is kept for the next connection
MAX_REFUSED_BYTES, MAX_REFUSED_TOPIC = 8_192, 200  # what is kept of a message whose topic cannot be read
STOP_TRIES, STOP_TRY_S = 20, 0.25  # 5 s for the last words to reach the broker
# A broker puts a client out when another comes under its name. So often within so long no network fails, and comes back; it is over after that long.
TAKEN_TIMES, TAKEN_S = 5, 60.0
BEGIN_S = 2.0  # for the network thread to report itself, which takes it a millisecond

_log = logging.getLogger("eggroom.mqtt")


class LinkError(Refusal):
    """Settings that no connection can be made with; one line."""


@fixed
class LinkSettings:
    """Which broker, and what is heard there. filters: topic filters of other makes' nodes. Raises LinkError."""

    site: str
    root: str = "eggroom"
    host: str = "127.0.0.1"
    port: int = 1883
    protocol: str = "3.1.1"  # or "5"
    username: str | None = None
    password: str | None = field(default=None, repr=False)
    ca_file: Path | None = None  # with it the connection is TLS
    keepalive_s: int = 30
    filters: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        try:
            self.host.encode("idna")
        except UnicodeError:
            raise LinkError("", f"broker host {self.host!r}", "a name or an address") from None
        if self.protocol not in ("3.1.1", "5"):
            raise LinkError("", f"broker protocol {self.protocol!r}", "3.1.1 or 5")
        if self.password is not None and self.username is None:
            raise LinkError("", "broker password without a username", "both")
        tls_context(self.ca_file)


def tls_context(ca_file: Path | None) -> ssl.SSLContext | None:
    """What checks the broker's certificate against an authority of the house; None without one. Raises LinkError."""
    if ca_file is None:
        return None
    try:
        context = ssl.create_default_context(cafile=str(ca_file))
    except OSError as error:  # ssl.SSLError is one
        why = str(error.strerror) if isinstance(error, FileNotFoundError | PermissionError) else "no certificate in it"
        raise LinkError(f"broker ca_file {ca_file}", why, "an authority's certificate (PEM)") from None
    # Python 3.13 began to ask for extensions that an authority made at home by the usual commands does not have.
    context.verify_flags &= ~ssl.VERIFY_X509_STRICT
    return context


class MqttLink:
    """One connection to one broker, kept up; its session outlives connections and restarts of ours.

    decode(topic, payload, retained) turns bytes into a message and never raises. heard(message, receipt) takes it; the receipt is
    None where the broker expects none. linked(connected, detail) hears of each change once. elsewhere(node, site, online) hears of
    nodes that speak under our root as another site: a slip in their settings, which looks well from both ends. They are called on
    the network thread (linked by supervise too), so they must be quick, and none of them may call back into the link.
    """

    def __init__(
        self,
        *,
        settings: LinkSettings,
        decode: Callable[[str, bytes, bool], Message],
        heard: Callable[[Message, Receipt | None], None],
        linked: Callable[[bool, Broker], None],
        elsewhere: Callable[[str, str, bool], None] = lambda node, site, online: None,
        ping_every_s: float = PING_EVERY_S,
        mono_s: Callable[[], float],
    ) -> None:
        self._settings = settings
        self._decode, self._heard, self._linked, self._elsewhere = decode, heard, linked, elsewhere
        self._ping_every_s, self._mono_s = ping_every_s, mono_s
        self._name = f"{settings.host}:{settings.port}"
        self._prefix = f"{settings.root}/{settings.site}/"
        self._alive_topic, self._ping_topic = f"{self._prefix}service/alive", f"{self._prefix}service/ping"
        self._ping = secrets.token_hex(8).encode()  # ours alone, whoever else publishes there
        self._subscribed = [(f"{self._prefix}+/air", 1), (f"{self._prefix}+/status", 1), (self._ping_topic, 0)]
        self._subscribed += [(topic_filter, 1) for topic_filter in settings.filters]
        # Presence alone, so that another site's readings cost nothing; without a receipt, and no outage where it may not be heard.
        self._any_site = (f"{settings.root}/+/+/status", 0)
        # One lock for all below. Re-entrant: the library may call back from within our own call.
        self._lock = threading.RLock()
        self._generation = 0
        self._connected = False
        self._listening = False  # the broker has granted what we subscribed to
        self._outage: Broker | None = None  # as it was told
        self._silence_told = False
        # When connections ended that had listened, with the broker there all the time; and when the last of them was known as taken.
        self._ends_s: deque[float] = deque(maxlen=TAKEN_TIMES)
        self._taken_s = 0.0
        self._unwritten = 0
        self._retained: dict[str, bytes] = {}
        self._stored_heard: set[str] = set()  # on this connection
        self._next_ping_s = self._ping_heard_s = 0.0
        self._network: threading.Thread | None = None
        self._begun, self._answered = threading.Event(), threading.Event()
        self._stopping = False
        self._client = self._build()

    # --- what the daemon calls

    def start(self) -> None:
        """Begin to connect, and return at once: a broker that is not there is tried for until it is."""
        self._begun.clear()
        broker = (self._settings.host, self._settings.port, self._settings.keepalive_s)
        if self._settings.protocol == "5":
            expiry = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]  # it is the one thing that paho gives no types
            expiry.SessionExpiryInterval = SESSION_EXPIRY_S
            self._client.connect_async(*broker, clean_start=False, properties=expiry)
        else:
            self._client.connect_async(*broker)
        self._client.loop_start()
        self._begun.wait(BEGIN_S)

    def answered_within(self, wait_s: float) -> bool:
        """Whether the broker has let us in, or did not, within so long: a caller that waits leaves the processor to the network thread."""
        return self._answered.wait(wait_s)

    def stop(self) -> None:
        """Send what was acknowledged, say that we stop, and leave; bounded in time."""
        self._stopping = True
        self.publish(self._alive_topic, b"stopped", retain=False)
        for _ in range(STOP_TRIES):
            if self._network is None or not self._network.is_alive():
                return
            self._client.disconnect()  # again, because a connection that is just being made overlooks it
            self._network.join(STOP_TRY_S)
        _log.warning("still busy after stop broker=%s", self._name)

    def acknowledge(self, receipts: Sequence[Receipt]) -> None:
        """Tell the broker that these messages are durable here; those of an earlier connection are passed over."""
        with self._lock:
            if not self._network_alive():
                return
            self._client.ack_all([mid for generation, mid in receipts if generation == self._generation])

    def publish(self, topic: str, payload: bytes, retain: bool) -> bool:
        """Send a message at most once, never waiting; False when it was not sent.

        What is retained is a state: the newest of each topic is kept and sent again with each new connection.
        """
        with self._lock:
            if retain and (topic in self._retained or len(self._retained) < MAX_RETAINED):
                self._retained[topic] = payload
            if not self._connected or not self._network_alive() or self._unwritten >= MAX_UNWRITTEN:
                return False
            self._unwritten += 1
            return self._client.publish(topic, payload, qos=0, retain=retain).rc == mqtt.MQTT_ERR_SUCCESS

    def stands_still(self, for_s: float) -> bool:
        """Whether the network thread, which listens, has not gone round for that long: one that has ended is started again by `supervise`, and one
        that connects may take its time. Waits for no lock."""
        network = self._network
        if not self._listening or network is None or not network.is_alive() or self._stopping:
            return False
        return mqtt.time_func() - self._client.moved_s >= for_s

    def supervise(self) -> Broker | None:
        """What is wrong with a link that looks well, as long as it is; call it each second.

        A network thread that has ended is started again. An outage is no news here: `linked` has told it.
        """
        with self._lock:
            if self._network is not None and not self._network.is_alive() and not self._stopping:
                self._end_connection()
                self._outage = Broker(ENDED, self._name)
                self.start()
                return self._outage
            if not self._listening:
                return None
            now_s = self._mono_s()
            if now_s >= self._next_ping_s:
                self._next_ping_s = now_s + self._ping_every_s
                self.publish(self._ping_topic, self._ping, retain=False)
            limit_s = SILENT_PINGS * self._ping_every_s
            silent, was_silent = now_s - self._ping_heard_s > limit_s, self._silence_told
            self._silence_told = silent
            alone = self._is_taken() and now_s - self._taken_s > TAKEN_S
            if alone:
                self._outage = None
        if alone:
            self._linked(True, Broker(CONNECTED, self._name))
        if silent:
            return Broker(UNHEARD, self._name, f"{limit_s:g}")
        if was_silent:
            self._linked(True, Broker(HEARD_AGAIN, self._name))
        return None

    # --- what the library calls, on the network thread

    def _build(self) -> Client:
        settings = self._settings
        v5 = settings.protocol == "5"
        client = Client(
            CallbackAPIVersion.VERSION2,
            client_id=f"{settings.root}-{settings.site}".replace("/", "-"),
            clean_session=None if v5 else False,
            protocol=MQTTProtocolVersion.MQTTv5 if v5 else MQTTProtocolVersion.MQTTv311,
            manual_ack=True,
        )
        if settings.username is not None:
            client.username_pw_set(settings.username, settings.password)
        if (context := tls_context(settings.ca_file)) is not None:
            client.tls_set_context(context)
        client.will_set(self._alive_topic, b"stopped", qos=1, retain=False)
        client.reconnect_delay_set(*RECONNECT_S)
        client.on_pre_connect = self._on_pre_connect
        client.on_connect = self._on_connect
        client.on_connect_fail = self._on_connect_fail
        client.on_subscribe = self._on_subscribe
        client.on_message = self._on_message
        client.on_publish = self._on_publish
        client.on_disconnect = self._on_disconnect
        client.on_socket_close = self._on_socket_close
        return client

    def _on_pre_connect(self, client: mqtt.Client, userdata: object) -> None:
        self._network = threading.current_thread()
        self._begun.set()

    def _on_connect(  # noqa: PLR0917 - the library calls it so
        self, client: mqtt.Client, userdata: object, flags: object, reason: ReasonCode, properties: object
    ) -> None:
        if reason.is_failure:
            # News even within an outage, for it takes a person to mend it; but the same words once.
            self._tell_outage(NO_ENTRY, str(reason).lower(), another=True)
            return
        with self._lock:
            self._generation += 1
            self._connected = True
            self._stored_heard.clear()
        client.subscribe([*self._subscribed, self._any_site])  # each time: the broker may have lost the session

    def _on_subscribe(  # noqa: PLR0917 - the library calls it so
        self, client: mqtt.Client, userdata: object, mid: int, reasons: list[ReasonCode], properties: object
    ) -> None:
        refused = [topic for (topic, _), reason in zip(self._subscribed, reasons, strict=False) if reason.is_failure]
        if refused:
            self._tell_outage(NO_EAR, ", ".join(refused), another=True)
            return
        with self._lock:
            self._listening = True
            taken = self._is_taken()
            if not taken:
                self._outage = None
            self._next_ping_s = self._ping_heard_s = self._mono_s()
            for topic, payload in self._retained.items():
                self.publish(topic, payload, retain=True)
        if not taken:
            self._linked(True, Broker(CONNECTED, self._name))
        self._answered.set()

    def _on_message(self, client: mqtt.Client, userdata: object, message: mqtt.MQTTMessage) -> None:
        try:
            self._take(message)
        except Exception:  # noqa: BLE001 - the thread's outermost place
            # Our own mistake: the message stays unacknowledged, and comes again.
            _log.exception("fault mid=%d", message.mid)

    def _take(self, message: mqtt.MQTTMessage) -> None:
        receipt = (self._generation, message.mid) if message.qos else None
        payload = bytes(message.payload)
        try:
            topic = message.topic
        except UnicodeDecodeError as error:
            shown = ascii(bytes(error.object))[2:-1][:MAX_REFUSED_TOPIC]
            why = Refusal(f"topic {shown[:40]}", f"not UTF-8 at byte {error.start}", "UTF-8")
            self._heard(Refused(shown, payload[:MAX_REFUSED_BYTES], str(why)), receipt)
            return
        if topic == self._ping_topic:
            if payload == self._ping:
                self._ping_heard_s = self._mono_s()
        elif self._is_wanted(topic) and not self._is_repeated(topic, message.retain):
            self._heard(self._decode(topic, payload, message.retain), receipt)
        else:
            other = speaks_elsewhere(topic, payload, root=self._settings.root, site=self._settings.site)
            if other is not None:
                self._elsewhere(*other)
            if receipt is not None:
                self.acknowledge([receipt])

    def _is_repeated(self, topic: str, stored: bool) -> bool:
        """Of our own nodes' presence the broker sends what it has stored once for each filter: ours, and that of any site."""
        if not stored or not topic.startswith(self._prefix) or not topic.endswith("/status"):
            return False
        repeated = topic in self._stored_heard
        self._stored_heard.add(topic)
        return repeated

    def _is_wanted(self, topic: str) -> bool:
        """Not our own words, heard through a wide filter; nor a filter of an earlier configuration, which a session keeps."""
        if topic.startswith(self._prefix):
            rest = topic[len(self._prefix) :]
            if rest.endswith(("/air", "/status")):
                return True
            if rest.startswith(("service/", "machine/")) or rest.endswith("/stored"):
                return False
        return any(mqtt.topic_matches_sub(topic_filter, topic) for topic_filter in self._settings.filters)

    def _on_publish(  # noqa: PLR0917 - the library calls it so
        self, client: mqtt.Client, userdata: object, mid: int, reason: ReasonCode, properties: object
    ) -> None:
        with self._lock:
            self._unwritten = max(0, self._unwritten - 1)

    def _on_connect_fail(self, client: mqtt.Client, userdata: object) -> None:
        error = sys.exc_info()[1]  # the library calls this while it handles the failure
        why = getattr(error, "strerror", None) or str(error or "no connection")
        self._ends_s.clear()  # a broker that stops and starts puts nobody out
        self._tell_outage(NOT_THERE, f"{why[:1].lower()}{why[1:100]}", another=self._is_taken())

    def _on_disconnect(  # noqa: PLR0917 - the library calls it so
        self, client: mqtt.Client, userdata: object, flags: object, reason: ReasonCode, props: object
    ) -> None:
        self._end_connection()
        if self._stopping:
            return
        ends_s = self._ends_s
        if taken := len(ends_s) == TAKEN_TIMES and ends_s[-1] - ends_s[0] <= TAKEN_S:
            self._taken_s = ends_s[-1]
        self._tell_outage(TAKEN if taken else LOST, "" if taken else str(reason).lower(), another=taken)

    def _on_socket_close(self, client: mqtt.Client, userdata: object, sock: object) -> None:
        self._end_connection()  # some ends are told here alone

    # --- what they share

    def _end_connection(self) -> None:
        with self._lock:
            self._generation += 1
            if self._listening:
                self._ends_s.append(self._mono_s())
            self._connected = self._listening = self._silence_told = False
            self._unwritten = 0

    def _is_taken(self) -> bool:
        return self._outage is not None and self._outage.what == TAKEN

    def _tell_outage(self, what: str, said: str, *, another: bool = False) -> None:
        """Once for an outage, however many tries it takes to end it; another cause, if it is worth telling."""
        told = Broker(what, self._name, said)
        if self._outage is None or (another and told != self._outage):
            self._outage = told
            self._linked(False, told)
            self._answered.set()

    def _network_alive(self) -> bool:
        """A dead thread's library would write from the caller's own thread, to a connection that nobody reads."""
        return self._network is not None and self._network.is_alive()
