"""The one composition root: builds each part in order, and stops them in reverse order.

`run` is the daemon. `Offline` is the same engine without broker, phone or threads, for a command given while no daemon runs.
"""

from __future__ import annotations

import contextlib
import ctypes
import gc
import json
import logging
import math
import random
import signal
import sys
import threading
from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack
from datetime import datetime
from pathlib import Path

from monitor.adapters.chores import Calendar
from monitor.adapters.clock import SystemClock, forward_s
from monitor.adapters.delivery import TIMEOUT_S, AppriseDelivery
from monitor.adapters.door import Door
from monitor.adapters.link.mapping import MappingError, PayloadRule, map_payload
from monitor.adapters.link.mqtt import LinkError, LinkSettings, MqttLink
from monitor.adapters.link.wire import decode, encode_stored
from monitor.adapters.network import network_up, runs_here
from monitor.adapters.secret import SecretError, read_secret
from monitor.adapters.store.connection import open_reader, open_writer
from monitor.adapters.store.history import SqliteHistory
from monitor.adapters.store.late import LateLedger
from monitor.adapters.store.ledger import SqliteLedger
from monitor.adapters.supervised import MOVES, READY, STOPPING, say
from monitor.adapters.tables.refused import Complaint
from monitor.domain.needs.profile import ProfileError
from monitor.domain.needs.site import Site
from monitor.domain.readings.reading import Message
from monitor.domain.refusal import Failure, joined
from monitor.domain.state.happened import Broker
from monitor.domain.state.record import Attempt
from monitor.service.chores.due import chores_of
from monitor.service.ports import Answer, Clock, Loaded, Receipt, StoreFailure, WeightAsked, WeightVerdict, Words
from monitor.service.watch.dispatcher import Dispatcher
from monitor.service.watch.engine import Engine, answered_before, start_state
from monitor.service.watch.inbox import (
    Arrived,
    Asked,
    Attempted,
    CalendarDue,
    Elsewhere,
    Inbox,
    Linked,
    Networked,
    Opened,
    Rearranged,
    WeightJudged,
)
from monitor.service.watch.notify import standard_stages
from monitor.service.watch.requests import Rearrange, RequestError
from monitor.service.watch.weights import Weights, judge_at_once
from monitor.settings import House, SettingsError, load_house_and_contacts, read_contacts
from monitor.shown.phone.joined import NoticeWords

ALIVE_EVERY_S = 10.0
# A part that has not gone round for so long goes on no more: the process ends, and is started anew. A card that stalls takes seconds.
STILL_S = 25.0
# A broker in the house answers in two milliseconds; one that does not is waited for no longer than that.
ANSWER_S = 0.05
M_ARENA_MAX = -8  # of mallopt(3)
DOOR_NAME, STORE_NAME = "eggroom.sock", "eggroom.db"
MAX_DOOR_PATH = 100  # bytes; a Unix socket's path may not be much longer

_log = logging.getLogger("eggroom")


class StartError(Failure):
    """The daemon cannot start."""


def store_path(house: House) -> Path:
    """Where the record lives."""
    return data_folder(house) / STORE_NAME


def door_path(house: House) -> Path:
    """Where the running daemon listens."""
    return data_folder(house) / DOOR_NAME


def data_folder(house: House) -> Path:
    """The data folder; a relative one lies beside the configuration file."""
    return house.path.parent / house.settings.site.data


def archives_folder(house: House) -> Path:
    """Where closed batches are archived: beside the record, or as the configuration says."""
    return (
        data_folder(house) / "archives" if (said := house.settings.site.archives) is None else house.path.parent / said
    )


class Daemon:
    """Every part of a running eggroom. Build, `start`, wait, `stop`."""

    def __init__(self, house: House, clock: Clock | None = None, *, on_show: Callable[[str, Mapping[str, object]], None] | None = None) -> None:  # fmt: skip
        self._house = house
        self._clock = clock
        self._on_show = on_show
        self._stack = ExitStack()
        self._alive = 0
        self.failed = threading.Event()  # a thread of ours ended by a fault of its own
        self.ended = (
            threading.Event()
        )  # the engine has, in order: at a stop, or because the house is another from now on
        self._looked_s = -math.inf  # when `stands_still` was last asked
        self._grace_s = self._full_s = -math.inf  # from when on it says something; when the inbox was last full
        self._kept_s: float | None = None  # when the keeper last went round
        self._stopping = threading.Event()

    def start(self) -> None:
        """Build in order; each part registers its stop as soon as it exists. Raises StartError, with nothing left running."""
        try:
            self._build()
        except BaseException:
            self._stack.close()
            raise

    def stop(self) -> None:
        """Stop in reverse order: the engine writes what is left, and receipts are given before the link goes."""
        self._stack.close()

    def stands_still(self) -> list[str]:
        """Which of the parts without which nobody is told anything have stood still for STILL_S, or ended by themselves; to be asked each second.

        Waits for no lock, for a part that stands still may hold it. Where whoever asks stood still too (the process was stopped, the board
        slept), each part gets its time anew; so do those that hand something over while the inbox is full, as where the store fails for long.
        """
        pace, now_s = getattr(self.clock, "speed", 1.0), self.clock.now().mono_s
        for_s = STILL_S * pace
        if now_s - self._looked_s > STILL_S * pace / 4.0:
            self._grace_s = now_s + for_s
        self._looked_s = now_s
        if now_s < self._grace_s:
            return []
        went_round = {"engine": self.engine.moved_mono_s, "keeper": self._kept_s}
        found = [name for name, moved_s in went_round.items() if moved_s is not None and now_s - moved_s >= for_s]
        if self.inbox.full():
            self._full_s = now_s
        if now_s - self._full_s < 2.0 * for_s:
            return [name for name in found if name == "engine"]
        found += ["link"] if self.link.stands_still(STILL_S) else []
        return found + [f"contact {name}" for name in self.dispatcher.stand_still((TIMEOUT_S + STILL_S / 2.0) * pace)]

    def _build(self) -> None:
        house, site, stack = self._house, self._house.site, self._stack
        _make_data_folder(house)
        ledger = LateLedger(store_path(house), another=self.ended.set)
        stack.callback(ledger.close)
        words = NoticeWords(site)
        loaded = ledger.load()
        if ledger.trouble is not None:
            _log.error("store note=%s", words.about(ledger.trouble))
        _read_species(site, loaded)
        clock = self._clock or SystemClock(not_before=loaded.newest, after=_instant(loaded))
        self.clock = clock
        self.inbox = inbox = Inbox(pace=getattr(clock, "speed", 1.0))
        self.state = start_state(loaded, site, clock.now())
        self.dispatcher = dispatcher = _dispatcher(house, words, inbox, clock=clock)
        prefix = f"{house.settings.broker.root}/{site.id}"

        self._here = runs_here(house.settings.broker.host)

        def heard(message: Message, receipt: Receipt | None) -> None:
            inbox.put(Arrived(clock.now(), message, receipt))

        def linked(connected: bool, detail: Broker) -> None:
            inbox.put(Linked(clock.now(), connected, detail, self._here))

        def elsewhere(node: str, other: str, online: bool) -> None:
            inbox.put(Elsewhere(clock.now(), node, other, online))

        self.link = link = MqttLink(
            settings=link_settings(house),
            decode=decoder(house),
            heard=heard,
            linked=linked,
            elsewhere=elsewhere,
            mono_s=forward_s,
        )

        def tell_stored(rows: Sequence[tuple[str, int, int]]) -> None:
            for node, boot, seq in rows:
                if seq >= 0:
                    link.publish(f"{prefix}/{node}/stored", encode_stored(boot, seq), retain=False)

        def show_machine(machine: str, view: Mapping[str, object]) -> None:
            link.publish(f"{prefix}/machine/{machine}/state", json.dumps(view).encode(), retain=True)
            if self._on_show is not None:
                self._on_show(machine, view)

        def weighed(asked: WeightAsked, verdict: WeightVerdict) -> None:
            inbox.put(WeightJudged(clock.now(), asked, verdict))

        self.weights = weights = Weights(
            judge=lambda batch: verdict_of(house, batch, clock.now().utc),
            report=weighed,
            pace=getattr(clock, "speed", 1.0),
        )
        self.engine = Engine(
            site=site,
            ledger=ledger,
            state=self.state,
            words=words,
            give_receipts=link.acknowledge,
            tell_stored=tell_stored,
            tell_notices=dispatcher.tell,
            tell_answered=dispatcher.answered,
            tell_live=dispatcher.renew,
            show_machine=show_machine,
            ask_weights=weights.ask,
            hands_on=True,
        )
        link.start()
        stack.callback(link.stop)
        link.answered_within(ANSWER_S)  # meanwhile its thread has the interpreter's lock to itself
        self.state.site_kept = ledger.last_site()
        self._worker = self._thread("engine", self._work)
        dispatcher.start(loaded.waiting, answered_before(loaded))
        self._worker.start()
        inbox.put(Opened(clock.now(), ledger.trouble))
        stack.callback(self._end_work)
        stack.callback(dispatcher.stop, 3.0)
        self._thread("weights", weights.run).start()
        stack.callback(weights.stop)

        import monitor.adapters.requests  # noqa: F401 - so that the first who asks need not wait for it

        self.engine.get_ready_to_answer()
        self._door = Door(door_path(house), self._asked, mono_s=forward_s)
        try:
            self._door.start()
        except OSError as error:
            if ledger.writable:
                raise StartError(str(door_path(house)), str(error.strerror), "a folder that takes sockets") from error
            _log.error("door failing, nobody can ask, trying again detail=%s", error)
        stack.callback(self._door.stop)
        self._calendar = Calendar(
            [chore.at for chore in chores_of(site)], site.zone, lambda: inbox.put(CalendarDue(clock.now()))
        )
        self._start_keepers(prefix)

    def _asked(self, request: Mapping[str, object], reply: Callable[[Mapping[str, object]], None]) -> None:
        from monitor.adapters.requests import BadRequest, read_request

        try:
            read = read_request(request)
        except BadRequest as error:
            reply(error.answer())
            return
        if isinstance(read, Rearrange):
            self._rearrange(read, reply)
        else:
            self.inbox.put(Asked(self.clock.now(), read, reply))

    def _rearrange(self, request: Rearrange, reply: Callable[[Mapping[str, object]], None]) -> None:
        """Have it written down how the house is, by the configuration as it is now, checked whole; the run ends with that."""
        try:
            house = read_anew(self._house.path)
        except SettingsError as error:
            reply(RequestError(str(error)).answer())
            return
        self.inbox.put(Rearranged(self.clock.now(), house.site, request, reply))

    def _start_keepers(self, prefix: str) -> None:
        stack = self._stack
        stack.callback(self._calendar.stop)
        keepers = (
            self._thread("keeper", lambda: self._keep(prefix)),
            self._thread("calendar", self._follow, vital=False),
        )
        for keeper in keepers:
            stack.callback(keeper.join, 5.0)
        stack.callback(self._stopping.set)
        for keeper in keepers:
            keeper.start()

    def _thread(self, name: str, work: Callable[[], None], *, vital: bool = True) -> threading.Thread:
        """vital: without it eggs are not watched, so the process ends with it."""

        def guarded() -> None:
            try:
                work()
            except Exception:  # noqa: BLE001 - the thread's outermost place
                # Our own mistake: the process must end, so that what supervises it starts a new one.
                _log.exception("%s ended", name)
                if vital:
                    self.failed.set()

        return threading.Thread(target=guarded, name=name, daemon=True)

    def _work(self) -> None:
        self.engine.run(self.inbox, self.clock)
        self.ended.set()

    def _end_work(self) -> None:
        self.inbox.close(self.clock.now())
        self._worker.join(timeout=20.0)

    def _follow(self) -> None:
        """Each second: has the label clock been set. On a thread of its own, and not a vital one: what is low then goes after a day by itself."""
        while not self._stopping.wait(1.0):
            self._calendar.watch(self.clock.now())

    def _judges(self, mono_s: float) -> bool:
        """Whether the engine lives and goes round: a counter that goes on while nobody judges keeps the nodes' buzzers silent."""
        moved_s, within_s = self.engine.moved_mono_s, ALIVE_EVERY_S * getattr(self.clock, "speed", 1.0)
        return self._worker.is_alive() and moved_s is not None and mono_s - moved_s < within_s

    def _keep(self, prefix: str) -> None:
        """Each second: is the network thread alive, is the engine. Each ALIVE_EVERY_S the counter that nodes listen for."""
        beat, up = 0.0, True
        while not self._stopping.wait(1.0):
            said = self.link.supervise()
            if said is not None:
                self.inbox.put(Linked(self.clock.now(), False, said, self._here))
            if network_up() is not up:
                up = not up
                self.inbox.put(Networked(self.clock.now(), up))
            mono_s = self._kept_s = self.clock.now().mono_s
            if mono_s >= beat and self._judges(mono_s):
                beat = mono_s + ALIVE_EVERY_S
                self._alive += 1
                if not self._door.is_open:  # as on a card that can only be read
                    with contextlib.suppress(OSError):
                        self._door.start()
                self.link.publish(f"{prefix}/service/alive", str(self._alive).encode(), retain=False)
                if self._alive == 2:  # ten seconds in: all is loaded that a quiet house needs
                    _give_back()


def _read_species(site: Site, loaded: Loaded) -> None:
    """See, before anything is watched, that what the eggs need can be read. Raises StartError."""
    try:
        for batch in loaded.batches:
            if batch.closed_at is None:
                site.profiles.get(batch.profile)
    except ProfileError as error:
        raise StartError.of(error) from error


def _make_data_folder(house: House) -> None:
    folder, door = data_folder(house), door_path(house)
    if len(str(door).encode()) > MAX_DOOR_PATH:
        expected = f"at most {MAX_DOOR_PATH} bytes with its name"
        raise StartError(f"site.data: {folder}", "too long for a socket", expected)
    try:
        folder.mkdir(mode=0o750, parents=True, exist_ok=True)
    except OSError as error:
        raise StartError(str(folder), str(error.strerror), "a folder that can be written") from error


def _instant(loaded: Loaded) -> tuple[float, datetime] | None:
    """The last instant of the run before that is known on both its clocks."""
    return None if loaded.memory is None else (loaded.memory.mono_s, loaded.memory.at)


def _dispatcher(house: House, words: Words, inbox: Inbox, *, clock: Clock) -> Dispatcher:
    def report(attempt: Attempt) -> None:
        inbox.put(Attempted(clock.now(), attempt))

    def wall() -> datetime | None:
        now = clock.now()
        return now.utc.astimezone(house.site.zone) if now.clock_ok else None

    try:
        contacts = read_contacts(house.settings, house.path)
    except SettingsError as error:
        raise StartError("", joined([each.words for each in error.complaints])) from error
    return Dispatcher(
        contacts=contacts,
        delivery=AppriseDelivery(),
        stages=standard_stages(words),
        report=report,
        utc=lambda: clock.now().utc,
        monotonic=lambda: clock.now().mono_s,
        jitter=lambda wait_s: random.uniform(0.0, wait_s),
        wall=wall,
        pace=getattr(clock, "speed", 1.0),
    )


def link_settings(house: House) -> LinkSettings:
    """What the broker link needs from the configuration. Raises StartError with one line for what cannot be used."""
    broker, beside = house.settings.broker, house.path.parent
    try:
        return LinkSettings(
            site=house.site.id,
            root=broker.root,
            host=broker.host,
            port=broker.port,
            protocol=broker.protocol,
            username=broker.username,
            password=None if broker.password_file is None else _password(beside / broker.password_file),
            ca_file=None if broker.ca_file is None else beside / broker.ca_file,
            keepalive_s=broker.keepalive_s,
            filters=tuple(rule.topic_filter for rule in payload_rules(house)),
        )
    except LinkError as error:
        raise StartError.of(error, within=str(house.path)) from error.__cause__


def _password(path: Path) -> str:
    """The broker's password. Raises LinkError."""
    try:
        password = read_secret(path, "a file with one line")
    except SecretError as error:
        raise LinkError(f"broker password file {path}", error.came, error.expected) from error
    if "\n" in password:
        raise LinkError(f"broker password file {path}", "several lines", "one line")
    return password


def payload_rules(house: House) -> tuple[PayloadRule, ...]:
    """The rules for nodes of other makes. Raises StartError with one line for one that cannot work."""
    try:
        return tuple(
            PayloadRule(topic_filter=p.topic, node=p.node, probe=p.probe, dry_bulb=p.dry_bulb, rh=p.rh, unit=p.unit)
            for p in house.settings.payload
        )
    except MappingError as error:
        raise StartError.of(error, within=str(house.path)) from error


def decoder(house: House, site: str | None = None) -> Callable[[str, bytes, bool], Message]:
    """Bytes to a message: our own topics by the wire's rules, any other by the configuration's. site: of a recording made elsewhere."""
    root, site, rules = house.settings.broker.root, site or house.site.id, payload_rules(house)
    own = f"{root}/{site}/"

    def decoded(topic: str, payload: bytes, retained: bool) -> Message:
        if rules and not topic.startswith(own):
            mapped = map_payload(rules, topic, payload, retained=retained)
            if mapped is not None:
                return mapped
        return decode(topic, payload, root=root, site=site, retained=retained)

    return decoded


def read_anew(path: Path) -> House:
    """The configuration as it is now, checked as whole as a start does. Raises SettingsError."""
    house, _ = load_house_and_contacts(path)
    try:
        link_settings(house)
    except StartError as error:
        raise SettingsError([Complaint(str(error))]) from error
    return house


def run(house: House) -> int:
    """The daemon in the foreground, until SIGTERM or SIGINT; 0 when it was asked to stop, 1 when it had to. SIGHUP: it reads its
    configuration anew, and goes on with what it had where that cannot be used."""
    asked, again = threading.Event(), threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: asked.set())
    signal.signal(signal.SIGHUP, lambda *_: again.set())
    _share_one_heap()
    daemon = _started(house)
    while True:
        while not (asked.wait(0.5) or again.is_set() or daemon.ended.is_set() or daemon.failed.is_set()):
            if still := daemon.stands_still():
                # It cannot be stopped in order, for it answers nobody. Whoever supervises starts a new one, which finds in the record what was told.
                _log.critical("ending, stands still: %s", ", ".join(still))
                signal.raise_signal(signal.SIGKILL)
            say(MOVES)
        failed = daemon.failed.is_set()
        if asked.is_set() or failed:
            say(STOPPING)
            daemon.stop()
            return 1 if failed else 0
        again.clear()
        say(MOVES)
        try:
            new = read_anew(house.path)
        except SettingsError as error:
            _log.error("configuration not taken, what was goes on: %s", error)
            if not daemon.ended.is_set():
                continue
            new = house
        daemon.stop()
        say(MOVES)
        gc.unfreeze()
        daemon, house = _started_anew(new, house)


def _started(house: House) -> Daemon:
    daemon = Daemon(house)
    daemon.start()
    gc.freeze()  # what a start has made stays: looking through it for garbage again and again is for nothing
    _log.info("running site=%s machines=%d probes=%d", house.site.id, len(house.site.machines), len(house.site.probes))
    say(READY)
    return daemon


def _started_anew(new: House, before: House) -> tuple[Daemon, House]:
    """With the new configuration; where nothing can be started with it, with that of before. Raises StartError, StoreFailure."""
    try:
        return _started(new), new
    except (StartError, StoreFailure) as error:
        _log.error("configuration not taken, what was goes on: %s", error)
        return _started(before), before


def _share_one_heap() -> None:
    """The threads take turns anyway; each of them would keep free memory of its own, where the C library (glibc) lets them share it."""
    with contextlib.suppress(AttributeError, OSError):
        ctypes.CDLL(None).mallopt(M_ARENA_MAX, 1)


def _give_back() -> None:
    """Memory that a start needed and the rest does not goes back to the system, where the C library (glibc) can do that: it keeps it else."""
    with contextlib.suppress(AttributeError, OSError):
        ctypes.CDLL(None).malloc_trim(0)


def start_logging() -> None:
    """Log lines, an event and key=value, to standard error; the service manager adds the time and keeps them.

    Only our own events are of interest below a warning.
    """
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(logging.Formatter("%(levelname)s %(name)s %(message)s"))
    logging.basicConfig(level=logging.WARNING, handlers=[handler])
    logging.getLogger("eggroom").setLevel(logging.INFO)


class Offline:
    """The engine alone on the record: for a request while no daemon runs. A context manager."""

    def __init__(self, house: House) -> None:
        self._house = house
        self._asked: list[WeightAsked] = []

    def __enter__(self) -> Offline:
        _make_data_folder(self._house)
        self._opened = open_writer(store_path(self._house))
        self._ledger = SqliteLedger(self._opened.connection)
        loaded = self._ledger.load()
        self._clock = SystemClock(not_before=loaded.newest, after=_instant(loaded))
        self._state = start_state(loaded, self._house.site, self._clock.now())
        self._engine = Engine(
            site=self._house.site,
            ledger=self._ledger,
            state=self._state,
            words=NoticeWords(self._house.site),
            give_receipts=lambda receipts: None,
            tell_stored=lambda rows: None,
            tell_notices=lambda notices: None,
            show_machine=lambda machine, view: None,
            ask_weights=self._asked.extend,
            weighs_daily=False,
        )
        if self._opened.damaged is not None:  # else nobody is ever told: the next daemon finds nothing wrong
            self._engine.work(Opened(self._clock.now(), self._opened.damaged))
        return self

    def __exit__(self, *_: object) -> None:
        self._opened.close()

    def ask(self, request: Mapping[str, object]) -> Answer:
        """Perform one request, write it, and judge the weights that it bears on."""
        from monitor.adapters.requests import BadRequest, read_request

        answers: list[Mapping[str, object]] = []
        try:
            now, read = self._clock.now(), read_request(request)
            if isinstance(read, Rearrange):
                self._state.site_kept = self._ledger.last_site()
                new = read_anew(self._house.path)
                self._engine.work(Rearranged(now, new.site, read, answers.append))
            else:
                self._engine.work(Asked(now, read, answers.append))
        except BadRequest as error:
            return error.answer()
        except SettingsError as error:
            return RequestError(str(error)).answer()
        if not answers:
            return RequestError(str(store_path(self._house)), "cannot be written now, nothing was changed").failed()
        with contextlib.suppress(
            StoreFailure
        ):  # the request is done all the same, and the next daemon judges at its start
            judge_at_once(self._engine.work, self._asked, self._clock.now(), judge=self._verdict)
        return dict(answers[0])

    def _verdict(self, batch: str, now: datetime) -> WeightVerdict | None:
        return verdict_of(self._house, batch, now)


def verdict_of(house: House, name: str, now: datetime) -> WeightVerdict | None:
    """What the weighings of a batch in the record say; None where there is nothing to judge by. Raises StoreFailure."""
    # Loaded with the first weighing: arrays are a fifth of the daemon's memory, and many a house never weighs.
    from monitor.service.reports.water import weight_verdict

    with contextlib.closing(open_history(house)) as history:
        batches = history.batches()
        batch = next((each for each in batches if each.id == name and each.closed_at is None), None)
        return None if batch is None else weight_verdict(history, house.site, batch, now=now, batches=batches)


def open_history(house: House) -> SqliteHistory:
    """The read side of the record. Raises StoreFailure when there is none yet."""
    return SqliteHistory(open_reader(store_path(house)))
