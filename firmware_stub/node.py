"""The node: measures, numbers each sample, publishes it, and keeps it until the service has stored it.

One loop, one thread. `tend` does what may never wait for the network (measure, watch the service, sound the
buzzer); it is called on every pass, and by the MQTT client whenever that waits.

    <root>/<site>/<node>/air       we publish   one sample, all probes: a SenML pack (RFC 8428)
    <root>/<site>/<node>/status    we publish   online, retained; offline by last will
    <root>/<site>/<node>/stored    we listen    {"boot":91,"seq":1804}: all up to there is stored
    <root>/<site>/service/alive    we listen    a counter; when it stands still the buzzer sounds

A message is known by `boot` (random at each start) and `seq` (from 0), so sending it twice does no harm. `up` is
whole seconds from the node's start to the sample, never to the sending.
"""

import json

from ring import NOTHING, Ring
from sensors import FAULTS

SPARE = 30000  # bytes of memory that the ring leaves to all else


class Uptime:
    """Milliseconds since start that only go forward, from a tick counter that wraps.

    The counter (2**30 ms on the board, 12.4 days) may wrap as often as it likes, as long as ms() is called more than
    twice per turn; the loop calls it many times a second.
    """

    def __init__(self, ticks_ms, ticks_diff):
        self._ticks_ms = ticks_ms
        self._ticks_diff = ticks_diff
        self._last = ticks_ms()
        self._total_ms = 0

    def ms(self):
        now = self._ticks_ms()
        self._total_ms += self._ticks_diff(now, self._last)
        self._last = now
        return self._total_ms


def decimal(milli):
    """Thousandths as a JSON number, by whole numbers only: 37520 gives 37.52, -62 gives -0.062, 37000 gives 37."""
    text = "%s%d.%03d" % ("-" if milli < 0 else "", abs(milli) // 1000, abs(milli) % 1000)
    return text.rstrip("0").rstrip(".")


def pack(node, names, record, *, boot, seq, switches=(), facts=(), started_unix_s=None):
    """One sample as a SenML pack, in bytes.

    `record` is up, then t, rh and fault of each probe in the order of `names`, then 0 or 1 of each of `switches`.
    `facts` is what the node says of itself besides: (name, unit, thousandths of it). `started_unix_s` is when this node
    started, if it knows.
    """
    entries = []
    for i in range(len(names)):
        t_milli, rh_milli, fault = record[1 + 3 * i : 4 + 3 * i]
        if t_milli != NOTHING:
            entries.append('"n":"%s/t","u":"Cel","v":%s' % (names[i], decimal(t_milli)))
        if rh_milli != NOTHING:
            entries.append('"n":"%s/rh","u":"%%RH","v":%s' % (names[i], decimal(rh_milli)))
        if fault:
            entries.append('"n":"%s/fault","vs":"%s"' % (names[i], FAULTS[fault]))
    for i in range(len(switches)):
        said = "true" if record[1 + 3 * len(names) + i] else "false"
        entries.append('"n":"%s","vb":%s' % (switches[i], said))
    for name, unit, milli in facts:
        entries.append('"n":"%s","u":"%s","v":%s' % (name, unit, decimal(milli)))
    up = record[0]
    base = '"bn":"%s/",' % node
    if started_unix_s is not None:
        base += '"bt":%d,' % (started_unix_s + up)
    number = ',"boot":%d,"seq":%d,"up":%d' % (boot, seq, up)
    entries[0] = base + entries[0] + number
    return ("[{" + "},{".join(entries) + "}]").encode()


class Node:
    """Wired up by main.py.

    `sensors` stand in the order of settings.PROBES; `make_client(will, on_message, idle)` builds the MQTT client;
    `buzzer(on)` switches it; `feed()` feeds the watchdog; `link()` is True while there is a network; `unix_s()` is the
    clock or None; `jitter_ms(limit)` is a random whole number from 0 to the limit. `switches` are (name, read), and
    read() is what it says, 0 or 1. `facts()` is what the board says of itself now, as in `pack`.
    """

    def __init__(
        self, settings, sensors, make_client, *, uptime, boot, buzzer, link, unix_s, feed, jitter_ms, sleep_ms,
        switches=(), facts=tuple,
    ):
        self._settings = settings
        self._sensors = sensors
        self._names = [probe[0] for probe in settings.PROBES]
        self._uptime = uptime
        self._boot = boot
        self._buzzer = buzzer
        self._link = link
        self._unix_s = unix_s
        self._feed = feed
        self._jitter_ms = jitter_ms
        self._sleep_ms = sleep_ms
        self._facts = facts

        here = settings.ROOT + "/" + settings.SITE + "/"
        self._air = here + settings.NODE + "/air"
        self._status = here + settings.NODE + "/status"
        self._stored = here + settings.NODE + "/stored"
        self._alive = here + "service/alive"

        self._switches = [switch[0] for switch in switches]
        self._reads = [switch[1] for switch in switches]
        self._said = [read() for read in self._reads]  # what the newest sample says
        self._turned_ms = None  # since when they say something else
        self._taken_ms = 0  # when the newest sample was taken

        self.ring = Ring(settings.RING, len(sensors), len(switches), SPARE)
        if self.ring.capacity < settings.RING:
            print("ring %d samples: memory for no more, RING is %d" % (self.ring.capacity, settings.RING))
        self._told = (), -1  # what it said of itself last, and in which number
        self._told_ms = 0  # when it says so again
        self._started_unix_s = None
        self._to_send = 0  # the next number to send
        self._sample_ms = 0  # when the next sample is due
        self._retry_ms = 0  # when to connect again
        self._retry_wait_ms = settings.RETRY_MS
        self._resend_ms = 0  # when to send again what is not stored
        self._resend_wait_ms = settings.RESEND_MS
        self._unstored_ms = None  # since when nothing was stored of what it has, and might have been
        self._complain_ms = 0  # when that is said on the console, if it stays so
        self._alive_count = None
        self._alive_ms = 0  # when the counter last moved
        self._sounding = False
        self._client = make_client((self._status, "offline"), self._on_message, self.tend)

    def step(self):
        """One pass of the loop: at most one message goes out."""
        self.tend()
        if not self._client.connected:
            self._join_when_due()
            return
        self._complain()
        if self._client.connected and not self._send_one():
            self._client.serve(50)

    def tend(self):
        self._feed()
        now_ms = self._uptime.ms()
        if now_ms >= self._sample_ms:
            while self._sample_ms <= now_ms:  # a sample that was missed is missed; the rhythm stays
                self._sample_ms += self._settings.INTERVAL_MS
            self._sample(now_ms // 1000)
        elif self._switches and self._turned(now_ms):
            self._sample(now_ms // 1000)
        silent = now_ms - self._alive_ms >= self._settings.ALIVE_MS
        if silent != self._sounding:
            self._sounding = silent
            self._buzzer(silent)
            print("buzzer on=%d" % silent)

    def _turned(self, now_ms):
        """Whether a switch has turned, and stayed so: a contact bounces for some milliseconds."""
        if [read() for read in self._reads] == self._said:
            self._turned_ms = None
        elif self._turned_ms is None:
            self._turned_ms = now_ms
        if self._turned_ms is None or now_ms - self._taken_ms < 1000:  # one that chatters must not crowd out the air
            return False
        return now_ms - self._turned_ms >= self._settings.SETTLE_MS

    def _sample(self, up):
        for sensor in self._sensors:
            sensor.start()
        self._sleep_ms(max([sensor.wait_ms for sensor in self._sensors]))
        record = [up]
        for sensor in self._sensors:
            t_milli, rh_milli, fault = sensor.fetch()
            record.append(NOTHING if t_milli is None else t_milli)
            record.append(NOTHING if rh_milli is None else rh_milli)
            record.append(FAULTS.index(fault))
        self._said = [read() for read in self._reads]
        self._turned_ms = None
        self._taken_ms = self._uptime.ms()
        number = self.ring.push(record + self._said)
        if self._taken_ms >= self._told_ms:
            self._told = self._facts(), number
            self._told_ms = self._taken_ms + self._settings.FACTS_MS

    def _join_when_due(self):
        now_ms = self._uptime.ms()
        if now_ms < self._retry_ms or not self._link():
            self._sleep_ms(50)
            return
        client = self._client
        joined = (
            client.connect()
            and client.subscribe(self._stored)
            and client.subscribe(self._alive)
            and client.publish(self._status, b"online", True)
        )
        if joined:
            print("mqtt joined kept=%d dropped=%d" % (len(self.ring), self.ring.dropped))
            self._retry_wait_ms = self._settings.RETRY_MS
            self._resend_wait_ms = self._settings.RESEND_MS
            self._to_send = self.ring.first
            self._unstored_ms = None
        else:
            self._retry_ms = self._uptime.ms() + self._retry_wait_ms + self._jitter_ms(self._retry_wait_ms)
            self._retry_wait_ms = min(2 * self._retry_wait_ms, self._settings.RETRY_MAX_MS)

    def _send_one(self):
        """Publish the next message, oldest first; False when there is none."""
        ring = self.ring
        if len(ring) and self._to_send > ring.first and self._uptime.ms() >= self._resend_ms:
            # Longer each time in vain: a service that is away for hours must not come back to hours of repeats.
            self._resend_wait_ms = min(2 * self._resend_wait_ms, self._settings.RESEND_MAX_MS)
            self._to_send = ring.first
        seq = self._to_send = max(self._to_send, ring.first)
        if seq == ring.next:
            return False
        message = pack(
            self._settings.NODE, self._names, ring.read(seq),
            boot=self._boot, seq=seq, switches=self._switches, facts=self._told[0] if seq == self._told[1] else (),
            started_unix_s=self._started(),
        )
        if self._client.publish(self._air, message):
            self._to_send = max(self._to_send, seq + 1)
            if seq <= ring.first:
                self._await_stored()
        return True

    def _complain(self):
        """Say on the console, to who sits at the bench, that nothing is stored, and where to look; and again every ten minutes."""
        now_ms = self._uptime.ms()
        if not len(self.ring):
            self._unstored_ms = None
            return
        if self._unstored_ms is None:
            self._unstored_ms = now_ms
            self._complain_ms = now_ms + self._settings.ALIVE_MS
        if now_ms < self._complain_ms:
            return
        self._complain_ms = now_ms + 600000
        print("nothing stored for %d s" % ((now_ms - self._unstored_ms) // 1000))
        if self._alive_count is not None and now_ms - self._alive_ms < self._settings.ALIVE_MS:
            print("  eggroom is there: `eggroom health` and `eggroom refused` say what is wrong with it")
        else:
            print('  no word of eggroom at site "%s": does it run, and is its id under [site] that?' % self._settings.SITE)

    def _started(self):
        """Unix seconds when this node started, or None without a clock. A second of rounding does not move it."""
        unix_s = self._unix_s()
        if unix_s is not None:
            started_unix_s = unix_s - self._uptime.ms() // 1000
            if self._started_unix_s is None or abs(started_unix_s - self._started_unix_s) > 1:
                self._started_unix_s = started_unix_s
        return self._started_unix_s

    def _await_stored(self):
        """From now on the oldest message has its full time to be stored."""
        self._resend_ms = self._uptime.ms() + self._resend_wait_ms + self._jitter_ms(self._resend_wait_ms // 4)

    def _on_message(self, topic, payload, retained):
        if topic == self._stored:
            self._on_stored(payload)
        elif topic == self._alive and not retained:  # a retained count is old news
            self._on_alive(payload)

    def _on_stored(self, payload):
        """Forget what is stored. Anything but our own boot and a number that we hold says nothing to us."""
        try:
            told = json.loads(payload)
            boot, seq = told["boot"], told["seq"]
        except (ValueError, KeyError, TypeError):
            return
        if boot != self._boot or type(seq) is not int or not self.ring.first <= seq < self.ring.next:
            return
        self.ring.forget(seq)
        self._unstored_ms = None
        self._resend_wait_ms = self._settings.RESEND_MS
        self._await_stored()

    def _on_alive(self, payload):
        try:
            count = int(payload)
        except ValueError:  # its last will
            return
        if count == self._alive_count:
            return
        now_ms = self._uptime.ms()
        back = now_ms - self._alive_ms > self._settings.RESEND_MS
        if back and self._resend_wait_ms > self._settings.RESEND_MS:  # it was away: no need to sit out the long wait
            self._resend_wait_ms = self._settings.RESEND_MS
            self._resend_ms = now_ms + self._jitter_ms(self._settings.RESEND_MS // 4)
        self._alive_count = count
        self._alive_ms = now_ms
