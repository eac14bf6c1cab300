"""The link to the broker, against the real Mosquitto; where that cannot be made to say something, against one that does by hand."""

from __future__ import annotations

import json
import logging
import ssl
import subprocess
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.adapters.clock import forward_s
from monitor.adapters.link import mqtt as mqtt_module
from monitor.adapters.link.mapping import PayloadRule, map_payload
from monitor.adapters.link.mqtt import MAX_UNWRITTEN, LinkError, LinkSettings, MqttLink
from monitor.adapters.link.wire import decode
from monitor.domain.readings.reading import Message, Pack, Presence, Refused
from monitor.domain.state.happened import ENDED, LOST, Broker
from monitor.service.ports import Receipt
from monitor.shown.happened import happened_words
from tests.adapters.link.test_wire import EXAMPLE, POISON
from tests.receivers import eventually, free_port
from tests.servers import Mosquitto, ScriptedBroker, listener, program, publish

AIR = "eggroom/home/node-a/air"
STATUS = "eggroom/home/node-a/status"
ALIVE = "eggroom/home/service/alive"
REFUSED_CONNECTION = "connection refused, expected an MQTT broker; trying again"


def air(seq: int, dry_bulb_c: float = 37.5) -> bytes:
    record = {"bn": "node-a/", "n": "top/t", "u": "Cel", "v": dry_bulb_c, "boot": 91, "seq": seq, "up": seq * 10}
    return json.dumps([record]).encode()


class Ear:
    """What a link tells its owner."""

    def __init__(self) -> None:
        self.messages: list[tuple[Message, Receipt | None]] = []
        self.said: list[tuple[bool, str]] = []
        self.elsewhere: list[tuple[str, str, bool]] = []
        self.fault: BaseException | None = None  # raised once, in place of hearing

    def heard(self, message: Message, receipt: Receipt | None) -> None:
        if self.fault is not None:
            fault, self.fault = self.fault, None
            raise fault
        self.messages.append((message, receipt))

    def linked(self, connected: bool, detail: Broker) -> None:
        self.said.append((connected, happened_words(detail)))

    @property
    def connected(self) -> bool:
        return bool(self.said) and self.said[-1][0]

    @property
    def seqs(self) -> list[int | None]:
        return [message.seq for message, _ in self.messages if isinstance(message, Pack)]

    def receipts(self) -> list[Receipt]:
        return [receipt for _, receipt in self.messages if receipt is not None]


def build(
    port: int, ear: Ear, *, rules: tuple[PayloadRule, ...] = (), ping_every_s: float = 10.0, **more: Any
) -> MqttLink:
    """A link that decodes as the daemon does."""

    def decoded(topic: str, payload: bytes, retained: bool) -> Message:
        mapped = None if topic.startswith("eggroom/home/") else map_payload(rules, topic, payload, retained=retained)
        return mapped or decode(topic, payload, root="eggroom", site="home", retained=retained)

    link = MqttLink(
        settings=LinkSettings(site="home", port=port, filters=tuple(rule.topic_filter for rule in rules), **more),
        decode=decoded,
        heard=ear.heard,
        linked=ear.linked,
        elsewhere=lambda *told: ear.elsewhere.append(told),
        mono_s=forward_s,
        ping_every_s=ping_every_s,
    )
    link._client.reconnect_delay_set(0.1, 0.4)  # type: ignore[arg-type]  # as the daemon, but sooner
    return link


@contextmanager
def linked_to(port: int, ear: Ear, **more: Any) -> Iterator[MqttLink]:
    """A link that is up."""
    link = build(port, ear, **more)
    link.start()
    try:
        assert eventually(lambda: ear.connected), ear.said
        yield link
    finally:
        link.stop()


def gone(broker: Mosquitto, times: int) -> bool:
    """Whether the broker has read all that the link's connections sent: a new one would make it drop the rest unread."""
    return eventually(lambda: broker.log.read_text().count("Received DISCONNECT from eggroom-home") >= times)


def test_who_starts_may_wait_for_the_brokers_answer() -> None:
    """It is there as soon as the broker has let us in, or cannot be reached, and not before."""
    with Mosquitto() as broker:
        ear = Ear()
        link = build(broker.port, ear)
        assert not link.answered_within(0.01)
        link.start()
        try:
            assert link.answered_within(10.0)
            assert ear.connected
        finally:
            link.stop()
    nobody = build(free_port(), Ear())
    nobody.start()
    try:
        assert nobody.answered_within(10.0)
    finally:
        nobody.stop()


def test_messages_arrive_with_their_receipts() -> None:
    """Readings and presence are heard as values, each with a receipt of the running connection."""
    with Mosquitto() as broker:
        ear = Ear()
        with linked_to(broker.port, ear):
            publish(broker.port, AIR, EXAMPLE)
            publish(broker.port, STATUS, b"online")
            assert eventually(lambda: len(ear.messages) == 2)
        (pack, first), (presence, second) = ear.messages
        assert isinstance(pack, Pack)
        assert (pack.node, pack.seq, pack.retained) == ("node-a", 1804, False)
        assert presence == Presence("node-a", True)
        assert first is not None
        assert second == (first[0], first[1] + 1)
        assert ear.said == [(True, f"broker 127.0.0.1:{broker.port}: connected")]


@pytest.mark.parametrize("protocol", ["3.1.1", "5"])
def test_what_was_not_acknowledged_comes_again(protocol: str) -> None:
    """The broker keeps what was heard and not acknowledged, and what came while we were away; not what was acknowledged."""
    with Mosquitto() as broker:
        first, second, third = Ear(), Ear(), Ear()
        with linked_to(broker.port, first, protocol=protocol) as link:
            publish(broker.port, AIR, air(1), air(2), air(3))
            assert eventually(lambda: first.seqs == [1, 2, 3])
            link.acknowledge(first.receipts()[:1])
        assert gone(broker, 1)
        publish(broker.port, AIR, air(4))
        with linked_to(broker.port, second, protocol=protocol) as link:
            assert eventually(lambda: second.seqs == [2, 3, 4])
            link.acknowledge(second.receipts())
        assert gone(broker, 2)
        with linked_to(broker.port, third, protocol=protocol):
            publish(broker.port, AIR, air(5))
            assert eventually(lambda: third.seqs == [5])


def test_nothing_is_acknowledged_before_its_time() -> None:
    """The broker gets its acknowledgements when they are given, in their order, and no sooner."""
    with ScriptedBroker() as broker:
        ear = Ear()
        with linked_to(broker.port, ear) as link:
            for mid in (7, 8, 9):
                broker.send(AIR.encode(), air(mid), mid)
            assert eventually(lambda: ear.seqs == [7, 8, 9])
            link.publish(ALIVE, b"1", retain=False)
            assert eventually(lambda: (ALIVE, b"1") in broker.got)  # so an acknowledgement would have come too
            assert broker.acked == [[]]
            link.acknowledge(ear.receipts()[:2])
            link.acknowledge(ear.receipts()[2:])
            assert eventually(lambda: broker.acked == [[7, 8, 9]])


def test_an_old_receipt_never_acknowledges_a_new_message() -> None:
    """A broker that lost its state gives the old packet id to a new message; the old receipt is passed over."""
    with ScriptedBroker() as broker:
        ear = Ear()
        with linked_to(broker.port, ear) as link:
            broker.send(AIR.encode(), air(1), 1)
            assert eventually(lambda: ear.seqs == [1])
            broker.cut()
            assert broker.subscribed.wait(10)
            broker.send(AIR.encode(), air(2), 1)
            assert eventually(lambda: ear.seqs == [1, 2])
            old, new = ear.receipts()
            assert old[1] == new[1] == 1
            link.acknowledge([old])
            link.publish(ALIVE, b"1", retain=False)
            assert eventually(lambda: (ALIVE, b"1") in broker.got)
            assert broker.acked == [[], []]
            link.acknowledge([old, new])
            assert eventually(lambda: broker.acked == [[], [1]])


def test_a_broker_that_lost_its_state_keeps_the_new_message() -> None:
    """The same with the real broker killed and started: after the old receipt the new message is still owed, and comes again."""
    with Mosquitto() as broker:
        ear, later = Ear(), Ear()
        with linked_to(broker.port, ear) as link:
            publish(broker.port, AIR, air(1))
            assert eventually(lambda: ear.seqs == [1])
            broker.restart()
            assert eventually(lambda: len(ear.said) == 3), ear.said
            publish(broker.port, AIR, air(2))
            assert eventually(lambda: ear.seqs == [1, 2])
            assert ear.receipts()[0][1] == ear.receipts()[1][1]  # the trap is set
            link.acknowledge(ear.receipts()[:1])
        assert gone(broker, 1)
        with linked_to(broker.port, later):
            assert eventually(lambda: later.seqs == [2])
        assert [connected for connected, _ in ear.said] == [True, False, True]
        assert "connection lost" in ear.said[1][1]


class Wire:
    """In the library's place below a link: notes each acknowledgement with the connection it would go out on."""

    def __init__(self) -> None:
        self.connection = 0
        self.acked: list[tuple[int, int]] = []
        self.acking = threading.Event()
        self.go_on = threading.Event()
        self.go_on.set()

    def ack_all(self, mids: Sequence[int]) -> None:
        self.acking.set()
        assert self.go_on.wait(10)
        self.acked += [(self.connection, mid) for mid in mids]


class Seconds:
    is_failure = False


def wired() -> tuple[MqttLink, Any, Wire, Ear]:
    """A link whose client is in the test's hands: its callbacks are called here, its acknowledgements are noted."""
    ear, wire = Ear(), Wire()
    link = build(1, ear)
    client: Any = link._client
    client.ack_all = wire.ack_all
    client.subscribe = lambda *_: (0, 1)
    client.on_pre_connect(client, None)  # this thread is the network's
    return link, client, wire, ear


def message_of(mid: int) -> Any:
    import paho.mqtt.client as mqtt

    message = mqtt.MQTTMessage(mid, AIR.encode())
    message.payload, message.qos = air(mid), 1
    return message


_STEPS = st.lists(
    st.one_of(
        st.tuples(st.just("deliver"), st.integers(1, 3)),
        st.tuples(st.sampled_from(["connect", "disconnect", "close"]), st.just(0)),
        st.tuples(st.just("acknowledge"), st.integers(1, 5)),
    ),
    max_size=60,
)


@settings(max_examples=400, deadline=None)
@given(steps=_STEPS)
def test_no_acknowledgement_crosses_connections(steps: list[tuple[str, int]]) -> None:
    """Whatever the order of deliveries, ends, beginnings and receipts, each goes out on its message's connection or not at all."""
    link, client, wire, ear = wired()
    delivered: dict[Receipt, int] = {}  # the connection by which each receipt came
    owed: list[Receipt] = []
    up = False
    for step, count in steps:
        if step == "connect":
            wire.connection, up = wire.connection + 1, True
            client.on_connect(client, None, None, Seconds(), None)
        elif step == "close":
            up = False
            client.on_socket_close(client, None, None)
        elif step == "disconnect":
            up = False
            client.on_disconnect(client, None, None, "lost", None)
        elif step == "deliver" and up:
            client.on_message(client, None, message_of(count))
            receipt = ear.receipts()[-1]
            assert delivered.setdefault(receipt, wire.connection) == wire.connection
            owed.append(receipt)
        elif step == "acknowledge":
            given_now, owed = owed[:count], owed[count:]
            wire.acked.clear()
            link.acknowledge(given_now)
            due = [(wire.connection, mid) for gen, mid in given_now if up and delivered[gen, mid] == wire.connection]
            assert wire.acked == due


def test_a_connection_cannot_change_within_an_acknowledgement() -> None:
    """Checking a receipt and sending it are one step: the end of a connection waits for it."""
    link, client, wire, ear = wired()
    client.on_connect(client, None, None, Seconds(), None)
    client.on_message(client, None, message_of(1))
    wire.go_on.clear()
    giver = threading.Thread(target=link.acknowledge, args=(ear.receipts(),))
    giver.start()
    assert wire.acking.wait(10)
    ender = threading.Thread(target=client.on_socket_close, args=(client, None, None))
    ender.start()
    ender.join(0.1)
    assert ender.is_alive()
    wire.go_on.set()
    ender.join(10)
    giver.join(10)
    assert not ender.is_alive()
    assert wire.acked == [(0, 1)]
    link.acknowledge(ear.receipts())
    assert wire.acked == [(0, 1)]


def test_poison_does_not_stop_the_flow() -> None:
    """Every kind of bad payload, three times the broker's window of them, is heard as refused, and the next good one arrives."""
    with Mosquitto("allow_anonymous true\nmax_inflight_messages 20") as broker:
        ear = Ear()
        with linked_to(broker.port, ear) as link:
            given = 0
            publish(broker.port, AIR, *[payload for payload, _ in POISON.values()])
            publish(broker.port, AIR, EXAMPLE)

            def all_heard() -> bool:
                nonlocal given
                receipts = ear.receipts()
                link.acknowledge(receipts[given:])
                given = len(receipts)
                return 1804 in ear.seqs

            assert len(POISON) > 60
            assert eventually(all_heard)
        refused = [message for message, _ in ear.messages if isinstance(message, Refused)]
        assert len(refused) == len(POISON)
        for message, (kind, (_, words)) in zip(refused, POISON.items(), strict=True):
            assert words in message.reason, kind


def test_the_cap_holds_on_the_wire() -> None:
    """A pack of 8,192 bytes is understood, one of 8,193 and one of a mebibyte are refused, and little of it is kept."""
    with Mosquitto() as broker:
        ear = Ear()
        with linked_to(broker.port, ear):
            publish(broker.port, AIR, EXAMPLE.ljust(8192), EXAMPLE.ljust(8193), EXAMPLE.ljust(2**20))
            assert eventually(lambda: len(ear.messages) == 3)
        (good, _), (long, _), (huge, _) = ear.messages
        assert isinstance(good, Pack)
        assert isinstance(long, Refused)
        assert isinstance(huge, Refused)
        assert huge.reason == "node-a: 1048576 bytes, expected at most 8192"
        assert len(huge.payload) == 8192


def test_a_retained_message_is_marked() -> None:
    """What the broker had stored arrives marked as retained; the same topic's next message does not."""
    with Mosquitto() as broker:
        publish(broker.port, STATUS, b"online", retain=True)
        publish(broker.port, AIR, EXAMPLE, retain=True)
        ear = Ear()
        with linked_to(broker.port, ear):
            assert eventually(lambda: len(ear.messages) == 2)
            publish(broker.port, STATUS, b"offline", retain=True)
            assert eventually(lambda: len(ear.messages) == 3)
        stored = {type(message).__name__: message for message, _ in ear.messages[:2]}
        assert stored["Presence"] == Presence("node-a", True, retained=True)
        pack = stored["Pack"]
        assert isinstance(pack, Pack)
        assert pack.retained
        assert ear.messages[2][0] == Presence("node-a", False)


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")  # it is meant to end so
def test_a_dead_network_thread_is_noticed_and_started_again() -> None:
    """The library's thread ends while the link looks connected; supervise says so, starts it, and the message comes again."""
    with Mosquitto() as broker:
        ear = Ear()
        with linked_to(broker.port, ear) as link:
            assert link.supervise() is None
            network = link._network
            assert network is not None
            ear.fault = SystemExit()  # no Exception, so it passes every net below the thread
            publish(broker.port, AIR, air(1))
            assert eventually(lambda: not network.is_alive())
            assert link._client.is_connected()
            assert not link.publish(ALIVE, b"1", retain=False)
            said = link.supervise()
            assert said == Broker(ENDED, f"127.0.0.1:{broker.port}")
            assert eventually(lambda: len(ear.said) == 2)
            assert ear.said[1] == (True, f"broker 127.0.0.1:{broker.port}: connected")
            assert eventually(lambda: ear.seqs == [1])
            assert link.supervise() is None
            link.acknowledge(ear.receipts())
            publish(broker.port, AIR, air(2))
            assert eventually(lambda: ear.seqs == [1, 2])


def test_a_fault_of_our_own_is_logged_and_the_flow_goes_on(caplog: pytest.LogCaptureFixture) -> None:
    """An exception while a message is heard leaves that one unacknowledged, and the next is heard."""
    with Mosquitto() as broker:
        ear, later = Ear(), Ear()
        with linked_to(broker.port, ear) as link, caplog.at_level(logging.ERROR, "eggroom.mqtt"):
            ear.fault = ValueError("a mistake of ours")
            publish(broker.port, AIR, air(1), air(2))
            assert eventually(lambda: ear.seqs == [2])
            link.acknowledge(ear.receipts())
            assert link.supervise() is None
        ours = [record.getMessage() for record in caplog.records if record.name == "eggroom.mqtt"]
        assert ours == ["fault mid=1"]
        assert "a mistake of ours" in caplog.text
        assert gone(broker, 1)
        with linked_to(broker.port, later):
            assert eventually(lambda: later.seqs == [1])


def test_a_broker_that_comes_later() -> None:
    """Without a broker the link says so once, however often it tries, and connects when there is one."""
    broker = Mosquitto(port=free_port())
    ear = Ear()
    link = build(broker.port, ear)
    tries = 0

    def count(client: Any, userdata: Any) -> None:
        nonlocal tries
        tries += 1
        link._on_connect_fail(client, userdata)

    link._client.on_connect_fail = count
    link.start()
    try:
        assert eventually(lambda: tries >= 2)
        assert ear.said == [(False, f"broker 127.0.0.1:{broker.port}: {REFUSED_CONNECTION}")]
        assert link.supervise() is None  # told already
        with broker:
            assert eventually(lambda: ear.connected)
            publish(broker.port, AIR, air(1))
            assert eventually(lambda: ear.seqs == [1])
        assert eventually(lambda: len(ear.said) == 3)
        assert not ear.said[2][0]
    finally:
        link.stop()
    assert len(ear.said) == 3


def test_states_are_sent_when_there_is_a_broker_again() -> None:
    """Of a retained topic the newest state goes out with each new connection; anything else is not sent late."""
    state, other = "eggroom/home/machine/setter-1/state", "eggroom/home/machine/setter-2/state"
    broker = Mosquitto(port=free_port())
    ear = Ear()
    link = build(broker.port, ear)
    link.start()
    try:
        assert [link.publish(state, payload, retain=True) for payload in (b"1", b"2")] == [False, False]
        assert not link.publish(ALIVE, b"7", retain=False)
        with broker:
            assert eventually(lambda: ear.connected)
            with listener(broker.port, "eggroom/#") as heard:
                assert eventually(lambda: heard == [(state, b"2", True)])
                assert link.publish(other, b"3", retain=True)
                assert link.publish(ALIVE, b"8", retain=False)
                assert eventually(lambda: heard[1:] == [(other, b"3", False), (ALIVE, b"8", False)])
            broker.restart()
            assert eventually(lambda: len(ear.said) == 4), ear.said
            with listener(broker.port, "eggroom/#") as heard:
                assert eventually(lambda: {(t, p) for t, p, _ in heard} == {(state, b"2"), (other, b"3")}), heard
            with listener(broker.port, "eggroom/#") as heard:
                assert eventually(lambda: sorted(heard) == [(state, b"2", True), (other, b"3", True)]), heard
    finally:
        link.stop()


def test_publishing_is_bounded_and_never_waits() -> None:
    """To a broker that takes nothing, a bounded number of messages is held, and the next are turned away at once."""
    link, client, _, _ = wired()
    sent: list[str] = []

    class Sent:
        rc = 0

    def note(topic: str, payload: bytes, qos: int, retain: bool) -> Sent:
        sent.append(topic)
        return Sent()

    client.publish = note
    client.on_connect(client, None, None, Seconds(), None)
    assert all(link.publish(ALIVE, b"1", retain=False) for _ in range(MAX_UNWRITTEN))
    assert not link.publish(ALIVE, b"1", retain=False)
    client.on_publish(client, None, 1, None, None)
    assert link.publish(ALIVE, b"1", retain=False)
    assert len(sent) == MAX_UNWRITTEN + 1


def test_others_learn_that_we_are_gone() -> None:
    """`stopped` on the alive topic, by last will when the link dies and by our own word when it is stopped."""
    with Mosquitto() as broker, listener(broker.port, ALIVE) as heard:
        ear = Ear()
        with linked_to(broker.port, ear) as link:
            link._client.socket().shutdown(2)  # type: ignore[union-attr]
            assert eventually(lambda: heard == [(ALIVE, b"stopped", False)])
            assert eventually(lambda: len(ear.said) == 3)
        assert eventually(lambda: len(heard) == 2)
        assert heard[1] == (ALIVE, b"stopped", False)


def test_stopping_sends_what_was_acknowledged() -> None:
    """Receipts given just before the stop reach the broker: two hundred messages do not come again."""
    with Mosquitto("allow_anonymous true\nmax_inflight_messages 200") as broker:
        ear, later = Ear(), Ear()
        with linked_to(broker.port, ear) as link:
            publish(broker.port, AIR, *[air(seq) for seq in range(200)])
            assert eventually(lambda: len(ear.messages) == 200)
            link.acknowledge(ear.receipts())
        assert gone(broker, 1)
        with linked_to(broker.port, later):
            publish(broker.port, AIR, air(200))
            assert eventually(lambda: later.seqs == [200])


def test_a_silent_link_is_noticed() -> None:
    """When our own ping does not come back for three intervals, supervise says so until it does; then the link says it is well."""
    with ScriptedBroker(echo=False) as broker:
        ear = Ear()
        link = build(broker.port, ear, ping_every_s=10.0)
        time_s = [0.0]
        link._mono_s = lambda: time_s[0]

        def at(seconds: float) -> str | None:
            time_s[0] = seconds
            said = link.supervise()
            return None if said is None else happened_words(said)

        link.start()
        try:
            assert eventually(lambda: ear.connected)
            assert [at(seconds) for seconds in (0.0, 10.0, 20.0, 30.0)] == [None] * 4
            said = [at(seconds) for seconds in (30.1, 31.0)]
            words = "connected, but nothing comes back, expected our own ping within 30 s"
            assert said == [f"broker 127.0.0.1:{broker.port}: {words}"] * 2
            assert eventually(lambda: len([1 for topic, _ in broker.got if topic.endswith("/ping")]) == 4)
            broker.echo = True
            at(40.0)
            assert eventually(lambda: link._ping_heard_s == 40.0)
            assert [connected for connected, _ in ear.said] == [True]
            assert [at(41.0), at(42.0)] == [None, None]
            assert [connected for connected, _ in ear.said] == [True, True]
            assert ear.messages == []  # pings are nobody's news
        finally:
            link.stop()


def test_the_ping_comes_back_from_the_real_broker() -> None:
    """With Mosquitto the ping comes round, and somebody else's message on its topic does not stand in for it."""
    with Mosquitto() as broker:
        ear = Ear()
        with linked_to(broker.port, ear) as link:
            link._ping_heard_s = link._next_ping_s = 0.0
            publish(broker.port, "eggroom/home/service/ping", b"not ours")
            publish(broker.port, AIR, air(1))
            assert eventually(lambda: ear.seqs == [1])
            assert link._ping_heard_s == 0.0
            link.supervise()
            assert eventually(lambda: link._ping_heard_s > 0.0)


def test_a_wrong_password_is_told_and_the_right_one_connects(tmp_path: Path) -> None:
    """A broker that does not let us in is named as such, once; with the right password the link is up."""
    passwords = tmp_path / "passwords"
    subprocess.run(
        [program("mosquitto_passwd", "mosquitto"), "-c", "-b", str(passwords), "eggroom", "long secret"], check=True
    )
    with Mosquitto(f"allow_anonymous false\npassword_file {passwords}") as broker:
        ear = Ear()
        link = build(broker.port, ear, username="eggroom", password="wrong")
        link.start()
        try:
            assert eventually(lambda: broker.log.read_text().count("not authorised") >= 2)
        finally:
            link.stop()
        assert len(ear.said) == 1
        assert not ear.said[0][0]
        assert "not authorized, expected a broker that lets us in; trying again" in ear.said[0][1]
        good = Ear()
        with linked_to(broker.port, good, username="eggroom", password="long secret"):
            publish(broker.port, AIR, air(1), auth={"username": "eggroom", "password": "long secret"})
            assert eventually(lambda: good.seqs == [1])


def test_a_refused_connection_is_told_within_an_outage() -> None:
    """An outage that turns into a refusal is told again, for a person must mend it; the same refusal is not."""
    ear = Ear()
    with ScriptedBroker(connack=4) as broker:
        link = build(broker.port, ear)
        link._outage = Broker(LOST)
        link.start()
        try:
            assert eventually(lambda: len(broker.acked) >= 3)
        finally:
            link.stop()
    assert len(ear.said) == 1
    assert "bad user name or password" in ear.said[0][1]


def test_a_refused_subscription_is_told() -> None:
    """A link that may not listen is no link, even if the broker lets it in; the filter is named."""
    with ScriptedBroker(suback=(1, 0x80, 0)) as broker:
        ear = Ear()
        link = build(broker.port, ear)
        link.start()
        try:
            assert eventually(lambda: ear.said)
            assert ear.said == [
                (
                    False,
                    f"broker 127.0.0.1:{broker.port}: may not listen to eggroom/home/+/status, expected an account that may",
                )
            ]
        finally:
            link.stop()


def test_a_node_of_another_site_is_noticed_and_not_heard() -> None:
    """A node that speaks under our root as another site is told of as it comes and goes; its readings are not ours, and what our own
    nodes say is heard once."""
    with Mosquitto() as broker:
        publish(broker.port, "eggroom/barn/node-a/status", b"online", retain=True)
        publish(broker.port, STATUS, b"online", retain=True)
        ear = Ear()
        with linked_to(broker.port, ear):
            publish(broker.port, "eggroom/barn/node-a/air", air(1))
            publish(broker.port, AIR, air(2))
            publish(broker.port, "eggroom/barn/node-a/status", b"offline", retain=True)
            assert eventually(lambda: len(ear.elsewhere) == 2)
            assert eventually(lambda: len(ear.messages) == 2)
    assert ear.elsewhere == [("node-a", "barn", True), ("node-a", "barn", False)]
    assert ear.messages[0][0] == Presence("node-a", True, retained=True)
    assert ear.seqs == [2]


def test_a_broker_that_grants_our_own_site_alone_is_no_outage() -> None:
    """An account that may hear only its own site is as good as before: what other sites say is a help, not a need."""
    with ScriptedBroker(suback=(1, 1, 0, 0x80)) as broker:
        ear = Ear()
        with linked_to(broker.port, ear):
            assert ear.said == [(True, f"broker 127.0.0.1:{broker.port}: connected")]


def test_a_topic_that_is_not_utf8_is_refused() -> None:
    """A broken topic is kept in a form that can be shown, with its receipt, and the flow goes on."""
    with ScriptedBroker() as broker:
        ear = Ear()
        with linked_to(broker.port, ear) as link:
            broker.send(b"eggroom/home/n\xff/air", b"x" * 9000, 1)
            broker.send(AIR.encode(), air(2), 2)
            assert eventually(lambda: ear.seqs == [2])
            link.acknowledge(ear.receipts())
            assert eventually(lambda: broker.acked == [[1, 2]])
        refused = ear.messages[0][0]
        assert isinstance(refused, Refused)
        assert refused.topic == "eggroom/home/n\\xff/air"
        assert refused.reason == "topic eggroom/home/n\\xff/air: not UTF-8 at byte 14, expected UTF-8"
        assert len(refused.payload) == 8192


def test_other_makes_are_heard_by_their_filter() -> None:
    """A payload rule's filter is subscribed to, and its messages arrive as packs with receipts."""
    rule = PayloadRule("sensors/+/climate", "{2}", "top", "/temperature", unit="F")
    with Mosquitto() as broker:
        ear = Ear()
        with linked_to(broker.port, ear, rules=(rule,)):
            publish(broker.port, "sensors/Node_X/climate", b'{"temperature":99.5}', b'{"temperature":"99.5"}')
            assert eventually(lambda: len(ear.messages) == 2)
        (pack, receipt), (refused, _) = ear.messages
        assert isinstance(pack, Pack)
        assert (pack.node, round(pack.samples[0].dry_bulb_c or 0.0, 6)) == ("node-x", 37.5)
        assert receipt is not None
        assert isinstance(refused, Refused)


def test_two_under_one_name_are_told_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each puts the other out, several times a second: after five times each says so, and no more of it; the one that is left is connected again, when
    it has stayed for as long as that was watched for. A broker that falls and comes back, however often, is no such thing."""
    monkeypatch.setattr(mqtt_module, "TAKEN_S", 4.0)
    one, other = Ear(), Ear()
    twice = "eggroom runs twice for this site"
    with Mosquitto() as broker:
        with linked_to(broker.port, one) as left:
            with linked_to(broker.port, other):
                assert eventually(lambda: all(twice in ear.said[-1][1] for ear in (one, other)), 20.0), (
                    one.said,
                    other.said,
                )
                told = len(one.said), len(other.said)
                threading.Event().wait(2.0)
                assert (len(one.said), len(other.said)) == told
                assert left.supervise() is None
            assert eventually(lambda: left.supervise() is None and one.connected, 20.0), one.said
        assert [twice in said for connected, said in one.said if not connected].count(True) == 1
    again = Ear()
    with Mosquitto() as broker, linked_to(broker.port, again):
        monkeypatch.setattr(mqtt_module, "TAKEN_S", 60.0)
        for _ in range(7):  # more often than another client would have to
            broker.kill()
            assert eventually(lambda: not again.connected)
            threading.Event().wait(0.6)  # in which it is looked for, and is not there
            broker.start()
            assert eventually(lambda: again.connected, 20.0), again.said
    assert not [said for _, said in again.said if twice in said]


def test_our_own_words_and_forgotten_filters_are_not_heard() -> None:
    """Under a filter as wide as #, what we publish ourselves is passed over; so is what an older configuration asked for."""
    wide = PayloadRule("#", "any", "top", "/temperature")
    with Mosquitto() as broker:
        first, second, third = Ear(), Ear(), Ear()
        with linked_to(broker.port, first, rules=(wide,)) as link:
            for topic in (ALIVE, "eggroom/home/machine/setter-1/state", "eggroom/home/node-a/stored"):
                assert link.publish(topic, b"1", retain=False)
            publish(broker.port, "sensors/x", b'{"temperature":30}')
            publish(broker.port, AIR, air(1))
            assert eventually(lambda: len(first.messages) == 2)
            assert first.seqs == [None, 1]
            link.acknowledge(first.receipts())
        assert gone(broker, 1)
        with linked_to(broker.port, second) as link:  # the session still has the filter
            publish(broker.port, "sensors/x", *[b'{"temperature":30}'] * 50)
            publish(broker.port, AIR, air(2))
            assert eventually(lambda: second.seqs == [2])
            assert len(second.messages) == 1
            link.acknowledge(second.receipts())
        assert gone(broker, 2)
        with linked_to(broker.port, third, rules=(wide,)):  # and they were acknowledged: none of the fifty comes now
            publish(broker.port, AIR, air(3))
            assert eventually(lambda: third.seqs == [3])


def test_an_encrypted_link(tmp_path: Path) -> None:
    """With the house's authority the link is up over TLS; with another one it says that the certificate does not verify."""
    for name in ("house", "other"):
        _authority(tmp_path, name)
    tls = f"certfile {tmp_path}/house-broker.pem\nkeyfile {tmp_path}/house-broker.key"
    with Mosquitto(tls=tls) as broker:
        ear, wrong = Ear(), Ear()
        with linked_to(broker.port, ear, ca_file=tmp_path / "house.pem"):
            publish(broker.port, AIR, air(1), tls={"ca_certs": str(tmp_path / "house.pem")})
            assert eventually(lambda: ear.seqs == [1])
        link = build(broker.port, wrong, ca_file=tmp_path / "other.pem")
        link.start()
        try:
            assert eventually(lambda: wrong.said)
        finally:
            link.stop()
        assert not wrong.said[0][0]
        assert "certificate verify failed" in wrong.said[0][1].lower()


def _authority(folder: Path, name: str) -> None:
    """An authority <name>.pem and a broker's certificate for 127.0.0.1 under it."""
    openssl, authority, broker = program("openssl", "openssl"), folder / name, folder / f"{name}-broker"
    key = ["-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-days", "2"]
    address = "subjectAltName=IP:127.0.0.1"
    for command in (
        ["req", "-x509", *key, "-subj", f"/CN={name}", "-keyout", f"{authority}.key", "-out", f"{authority}.pem"],
        ["req", "-x509", *key, "-subj", "/CN=broker", "-addext", address, "-addext", "basicConstraints=critical,CA:FALSE",
         "-CA", f"{authority}.pem", "-CAkey", f"{authority}.key", "-keyout", f"{broker}.key", "-out", f"{broker}.pem"],
    ):  # fmt: skip
        subprocess.run([openssl, *command], check=True, capture_output=True)


@pytest.mark.parametrize(
    ("settings_", "words"),
    [
        ({"host": "a..b"}, "broker host 'a..b', expected a name or an address"),
        ({"protocol": "4"}, "broker protocol '4', expected 3.1.1 or 5"),
        ({"password": "x"}, "broker password without a username, expected both"),
        (
            {"ca_file": Path("/no/such/file")},
            "ca_file /no/such/file: No such file or directory, expected an authority's",
        ),
        ({"ca_file": Path(__file__)}, "no certificate in it, expected an authority's certificate (PEM)"),
    ],
)
def test_settings_that_cannot_work_say_so(settings_: dict[str, Any], words: str) -> None:
    """A setting that no connection can be made with is one line, before anything is tried."""
    with pytest.raises(LinkError) as caught:
        LinkSettings(site="home", **settings_)
    assert words in str(caught.value)


def test_the_password_is_not_printed() -> None:
    """What shows the settings does not show the secret."""
    assert "pass" not in repr(LinkSettings(site="home", username="u", password="pass word")).replace("password", "")


def test_stopping_without_a_broker_is_quick() -> None:
    """A link that never found its broker, and one that never started, stop without waiting for anything."""
    link = build(free_port(), Ear())
    link.stop()
    link = build(free_port(), ear := Ear())
    link.start()
    assert eventually(lambda: ear.said)
    link.stop()
    assert link._network is not None
    assert not link._network.is_alive()


def test_tls_context_trusts_the_house_alone(tmp_path: Path) -> None:
    """With an authority of the house, no public one is trusted, and the broker's name is checked."""
    from monitor.adapters.link.mqtt import tls_context

    _authority(tmp_path, "house")
    context = tls_context(tmp_path / "house.pem")
    assert context is not None
    assert len(context.get_ca_certs()) == 1
    assert context.check_hostname
    assert context.verify_mode == ssl.CERT_REQUIRED
    assert tls_context(None) is None
