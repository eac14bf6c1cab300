"""What the room is like, what stands, and answering it; with and without a running daemon."""

from __future__ import annotations

import getpass
import json
import re
import socket
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from monitor.adapters import door
from monitor.adapters.clock import utc_now
from monitor.adapters.store.connection import open_writer
from monitor.adapters.store.ledger import SqliteLedger
from monitor.cli import record, watching
from monitor.domain.alarms.alarm import Alarm, Transition
from monitor.domain.state.memory import Memory
from monitor.domain.state.record import Group
from monitor.domain.wall import filled
from monitor.shown.now.alarms import HANGS, START, WRITTEN_ALONE
from tests.cli.commands import Capture, ok, told
from tests.running import eggroom, query, set_days_ago, typed


def test_room_needs_the_daemon(capsys: Capture, config: Path) -> None:
    """`room` shows what is now, so it says that no daemon runs, with 1; what to do is the same wherever one looks."""
    code, out, err = typed(capsys, "room", config=config)
    assert (code, out) == (1, "")
    assert err.startswith("eggroom: NOBODY IS WATCHING: no daemon has run here yet.\n")
    for looks in ("room", "now", "alarms", "health", "cooling"):
        _, out, err = typed(capsys, looks, config=config)
        assert "sudo systemctl start eggroom" in " ".join((out + err).split()), looks
        assert "eggroom run" not in out + err


def test_a_daemon_that_hangs(capsys: Capture, config: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """To start what runs does nothing: it is to be restarted, wherever one looks; and nothing is written past it."""
    ok(capsys, "batch", "add", "hen-1", "--species", "chicken", "--machine", "setter-1", "--eggs", "6", config=config)
    monkeypatch.setattr(door, "PATIENCE_S", 0.1)
    monkeypatch.setattr(door, "ALIVE_S", 0.1)
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as stuck:
        stuck.bind(str(config.parent / "record" / "eggroom.sock"))
        stuck.listen(100)
        for words in (
            "now", "alarms", "room", "cooling", "health", "batch list", "egg show hen-1", "ack 1", "egg weigh hen-1 1 58", "handling setter-1 --for 5m",
        ):  # fmt: skip
            code, out, err = typed(capsys, *words.split(), config=config)
            said = " ".join((out + err.replace("eggroom: ", "")).split())
            assert code in (1, 2), words
            assert HANGS in said, words
            assert START not in said, words
            if words in ("now", "alarms", "room", "cooling", "ack 1"):
                assert "whether this was written" not in said, words
    assert query(config, "SELECT * FROM entry") == []


def test_what_is_written_while_nobody_watches_says_so(capsys: Capture, config: Path) -> None:
    """It is in the record, and nothing is judged by it until a daemon runs: said once, beside what is printed, whatever was typed."""
    said = f"{filled(WRITTEN_ALONE)}\n"
    for words in (
        "batch add hen-1 --species chicken --machine setter-1 --eggs 6 --set -5d", "batch move hen-1 hatcher-1", "batch split hen-1 5-6 --to setter-1",
        "egg weigh hen-1 1 58", "egg weigh hen-1 2 58 --json", "egg candle hen-1 1-4 fertile", "egg undo hen-1", "handling setter-1 --for 5m",
        "cooling setter-1 --at 8:00 --for 20m", "calibrate node-a/top --offset 0.3K", "batch close hen-1 --sure",
    ):  # fmt: skip
        code, out, err = typed(capsys, *words.split(), config=config)
        assert (code, err) == (0, said), words
        assert "NOBODY" not in out, words
    code, _, err = typed(capsys, "batch", "move", "hen-1", "setter-9", config=config)
    assert (code, "NOBODY" in err) == (2, False)  # nothing was written


def test_an_alarm_is_quiet_for_nobody(capsys: Capture, config: Path) -> None:
    """Of several that are shelved or seen at once it is said once; of none that could be, not at all."""
    _alarms_of(config, ("node-a/top", "sensor-failed"), ("node-a", "node-offline"))
    for words in (["ack"], ["shelve", "--for", "5m"]):
        _, out, err = typed(capsys, words[0], "99", "1", "2", *words[1:], config=config)
        assert (out + err).count("NOBODY IS WATCHING") == 1, words
        assert "alarm 99" in err
    assert "NOBODY" not in typed(capsys, "shelve", "99", "--for", "5m", config=config)[2]


@pytest.mark.parametrize("words", ["ack", "shelve --for 5m"])
def test_a_daemon_that_hangs_is_waited_for_once(
    capsys: Capture, config: Path, monkeypatch: pytest.MonkeyPatch, words: str
) -> None:
    """However many numbers are typed: it is woken by, and each would wait anew."""
    monkeypatch.setattr(door, "PATIENCE_S", 0.1)
    monkeypatch.setattr(door, "ALIVE_S", 0.1)
    verb, *more = words.split()
    ok(capsys, "batch", "add", "hen-1", "--species", "chicken", config=config)  # so that there is a record
    asked: list[object] = []

    def counted(ask: Callable[..., object]) -> Callable[..., object]:
        def asks(*given: object) -> object:
            asked.append(given)
            return ask(*given)

        return asks

    monkeypatch.setattr(record, "ask_door", counted(door.ask_door))
    monkeypatch.setattr(watching, "check_door", counted(door.check_door))
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as stuck:
        stuck.bind(str(config.parent / "record" / "eggroom.sock"))
        stuck.listen(100)
        code, out, err = typed(capsys, verb, *map(str, range(1, 21)), *more, config=config)
    assert (code, out) == (1, "")
    assert err.count(HANGS.partition("\n")[0]) == 1
    assert len(asked) == 1


def test_room(capsys: Capture, running: Path) -> None:
    """`room` shows each machine against what its eggs need, in the site's unit, and what is wrong."""
    text = ok(capsys, "room", config=running)
    assert text.startswith("Setter 1: too hot (No. 1).\n\nSetter 1: hen-1 day 5 incubation\n")
    assert "103.1 °F  2.5 over, target 99.5 to 100.6" in text
    assert "\n  HIGH No. 1 Setter 1: too hot\n    103.1 °F now, for " in text
    assert "\n    new; told sam " in text
    assert "Hatcher 1: empty\n  no reading yet" in text
    room = told(capsys, "room", config=running)
    assert room.keys() == {"machines", "others", "in_no_machine"}
    assert room["machines"][0].keys() == {
        "machine", "name", "kind", "at", "probes", "batches", "bands", "eggs", "handling_until", "settling_until", "alarms",
    }  # fmt: skip


def test_handling(capsys: Capture, config: Path) -> None:
    """`handling` says until when a machine is worked at, and ends it; without a time, or for too long, it says what was expected."""
    said = ok(capsys, "handling", "setter-1", "--for", "20m", "--by", "sam", config=config)
    assert said == "setter-1: handling declared for 20 min\n"
    found = told(capsys, "handling", "setter-1", "--done", config=config)
    assert found.keys() == {"machine", "did", "until", "shelved"}
    assert found["did"] == "done"
    for arguments, expected in (
        ((), "expected either --for TIME or --done"),
        (("--for", "20m", "--done"), "expected either --for TIME or --done"),
        (("--for", "3h"), "180 min, expected more than 0 and at most 60 min"),
    ):
        code, out, err = typed(capsys, "handling", "setter-1", *arguments, config=config)
        assert (code, out) == (2, "")
        assert expected in err


def test_alarms(capsys: Capture, running: Path) -> None:
    """`alarms` shows what stands with the first act and how to answer; --all every transition; --json the same as values."""
    text = ok(capsys, "alarms", config=running)
    assert text.startswith("1 wants you: 1 high.\n\nHIGH No. 1 Setter 1: too hot\n  103.1 °F now, for ")
    assert "\n  new; told sam " in text
    assert "Days of it cost chicks; it may go on rising. Look now" in " ".join(text.split())
    assert "eggroom ack NUMBER" in text
    assert told(capsys, "alarms", config=running)[0].keys() == {
        "number", "subject", "rule", "state", "since", "ended", "quantity", "about", "value", "worst", "limit",
        "shelved_until", "suppressed", "told",
    }  # fmt: skip
    assert "No. 1 Setter 1: too hot: new (beyond its limit)" in ok(capsys, "alarms", "--all", config=running)
    assert told(capsys, "alarms", "--all", config=running)[0].keys() == {
        "at", "number", "subject", "rule", "from", "to", "cause", "value", "worst", "limit", "who",
    }  # fmt: skip


def test_a_shelf_is_bounded(capsys: Capture, running: Path) -> None:
    """A high alarm is shelved for at most an hour; off the shelf it is unacknowledged again; one not shelved says so."""
    code, _, err = typed(capsys, "shelve", "1", "--for", "2h", config=running)
    assert code == 2
    assert err == "eggroom: alarm 1: shelve for 120 min, expected more than 0 and at most 60 min for priority high\n"
    assert "No. 1: quiet until" in ok(capsys, "shelve", "1", "--for", "10m", "--by", "sam", config=running)
    assert told(capsys, "alarms", config=running)[0]["state"] == "shelved"
    assert ok(capsys, "unshelve", "all", config=running) == "No. 1: new\n"
    assert ok(capsys, "unshelve", "all", config=running) == "Nothing new.\n"
    code, _, err = typed(capsys, "unshelve", "1", config=running)
    assert (code, err) == (2, "eggroom: alarm 1: not quiet, expected one that was shelved\n")


def test_out_of_service_and_back(capsys: Capture, running: Path) -> None:
    """Taken out of service an alarm tells nobody; `alarms` and `room` say so, since when and by whom, until it is put back."""
    said = ok(capsys, "out-of-service", "1", "--by", "sam", config=running)
    back = "eggroom out-of-service 1 --back"
    assert said == f"No. 1: out of service; it tells nobody, and stands in each day's summary, until: {back}\n"
    for command in ("alarms", "room"):
        text = " ".join(ok(capsys, command, config=running).split())
        assert re.search(r"out of service since \d\d:\d\d by sam, tells nobody until it is put back", text), text
    assert "Put back: eggroom out-of-service NUMBER --back" in ok(capsys, "alarms", config=running)
    ((at,),) = query(running, "SELECT at_ms FROM transition WHERE state = 'out of service'")
    (alarm,) = told(capsys, "alarms", config=running)
    shown = told(capsys, "room", config=running)["machines"][0]["alarms"][0]
    for each in (alarm, shown):
        assert (each["state"], each["out_of_service_by"]) == ("out of service", "sam")
        assert datetime.fromisoformat(each["out_of_service_since"]).timestamp() * 1000 == pytest.approx(at, abs=0.1)
    code, _, err = typed(capsys, "ack", "1", "--by", "sam", config=running)
    assert (code, err) == (2, "eggroom: alarm 1: out of service, nothing to acknowledge\n")
    assert ok(capsys, "out-of-service", "1", "--back", "--by", "kim", config=running) == "No. 1: new\n"
    who = query(running, "SELECT who FROM transition WHERE 'out of service' IN (state, state_before) ORDER BY id")
    assert who == [("sam",), ("kim",)]
    (alarm,) = told(capsys, "alarms", config=running)
    assert alarm["state"] == "unacknowledged"
    assert "out_of_service_since" not in alarm
    assert "Put back" not in ok(capsys, "alarms", config=running)


def test_who_says_so(capsys: Capture, running: Path) -> None:
    """Without --by it is the one that [site] names as `by`; where it names nobody, the account."""
    configured = running.with_name("by.toml")
    configured.write_text(running.read_text().replace("[site]\n", '[site]\nby = "Kim"\n'), encoding="utf-8")
    for config in (running, configured):
        ok(capsys, "out-of-service", "1", config=config)
        ok(capsys, "out-of-service", "1", "--back", config=config)
    rows = query(
        running, "SELECT who FROM transition WHERE 'out of service' IN (state, state_before) ORDER BY id DESC LIMIT 4"
    )
    assert rows == [("Kim",), ("Kim",), (getpass.getuser(),), (getpass.getuser(),)]


def test_several_at_once(capsys: Capture, config: Path) -> None:
    """Each number is answered, whatever becomes of the others; `all` is every one that nobody has answered; no word more is needed."""
    _alarms_of(config, ("node-a", "node-offline"), ("node-b", "node-offline"), ("node-a/top", "sensor-failed"))
    code, out, err = typed(capsys, "ack", "2", "9", "1", config=config)
    who = getpass.getuser()
    assert [line.partition(";")[0] for line in out.splitlines()[-2:]] == [f"No. {n}: seen by {who}" for n in (2, 1)]
    assert (code, err) == (2, "eggroom: alarm 9: no such alarm, the newest is 3\n")
    _, out, _ = typed(capsys, "ack", "all", config=config)
    assert out.splitlines()[-1].startswith(f"No. 3: seen by {who};")
    assert typed(capsys, "ack", "all", config=config)[1].splitlines()[-1] == "Nothing stood."
    assert typed(capsys, "ack", "all", "--json", config=config)[1] == "[]\n"
    for word in ("one", "all,", "-1", "9" * 10):
        code, out, err = typed(capsys, "ack", word, config=config)
        assert (code, out, err) == (2, "", f"eggroom: ack: {word!r}, expected the number in the message, or all\n")


@pytest.mark.parametrize(
    ("words", "numbers"),
    [
        ("3,4", "34"),
        ("3, 4", "34"),
        ("No. 3", "3"),
        ("no.3 and", ""),
        ("#3", "3"),
        ("1-4", "1234"),
        ("Nr. 2 - 3", "23"),
        ("4 2", "42"),
    ],
)
def test_numbers_as_people_type_them(capsys: Capture, config: Path, words: str, numbers: str) -> None:
    """As the message has them, with commas, and from one to another: then those of them that want an answer (a node's end with the answer);
    likewise to be shelved."""
    nodes = ("node-a", "node-b", "node-a/top", "node-b/top")
    _alarms_of(config, *((each, "sensor-failed" if "/" in each else "node-offline") for each in nodes))
    for command, more, words_of in (("ack", (), "seen by"), ("shelve", ("--for", "20"), "quiet until")):
        code, out, err = typed(capsys, command, *words.split(), *more, config=config)
        said = [line for line in out.splitlines() if line.startswith("No. ")]
        if command == "shelve" and "-" in words:
            numbers = "".join(each for each in numbers if each in "34")
        if not numbers:
            assert (code, out, err) == (
                2,
                "",
                f"eggroom: {command}: {words!r}, expected the number in the message, or all\n",
            )
            continue
        assert [(line[4], words_of in line) for line in said] == [(number, True) for number in numbers], out + err


def test_what_is_seen_is_no_mistake(capsys: Capture, config: Path) -> None:
    """Typed twice, or after it is over, it is said what is; `all` of what wants no answer is nothing."""
    _alarms_of(config, ("node-a/top", "sensor-failed"))
    typed(capsys, "ack", "1", config=config)
    code, out, err = typed(capsys, "ack", "1", config=config)
    assert (code, out.splitlines()[-1], err) == (1, "No. 1 is seen already; it still stands", "")  # 1: nobody watches
    opened = open_writer(config.parent / "record" / "eggroom.db")
    over = Alarm(
        "node-a/top", "sensor-failed", number=1, episode=1, condition=False, acknowledged=True, since=utc_now()
    )
    row = Transition(over, "acknowledged", "normal", "back", utc_now(), 0.0)
    SqliteLedger(opened.connection).commit(Group(transitions=[row]))
    opened.close()
    code, out, err = typed(capsys, "ack", "No.", "1", config=config)
    assert (out.splitlines()[-1], err) == ("No. 1 is over and seen", "")
    code, out, _ = typed(capsys, "shelve", "all", "--for", "20m", config=config)
    assert (code, out.splitlines()[0][:20], out.splitlines()[-1]) == (1, "NOBODY IS WATCHING: ", "Nothing stood.")
    code, _, err = typed(capsys, "unshelve", "setter-1", config=config)
    assert (code, err) == (2, "eggroom: unshelve: 'setter-1', expected the number in the message, or all\n")
    for words in ("all", "0", "1-2"):
        code, _, err = typed(capsys, "out-of-service", words, config=config)
        assert (code, "expected" in err) == (2, True), words
    assert typed(capsys, "out-of-service", "No.", "1", config=config)[1].startswith("No. 1: out of service; ")


def _alarms_of(config: Path, *about: tuple[str, str]) -> None:
    """A record in which each of these (subject, rule) is an alarm that nobody has answered, numbered from 1."""
    at = utc_now() - timedelta(minutes=5)
    (config.parent / "record").mkdir()
    opened = open_writer(config.parent / "record" / "eggroom.db")
    alarms = [
        Alarm(subject, rule, number=place + 1, episode=1, condition=True, acknowledged=False, since=at)
        for place, (subject, rule) in enumerate(about)
    ]
    rows = [Transition(alarm, "normal", "unacknowledged", "beyond its limit", at, 0.0) for alarm in alarms]
    SqliteLedger(opened.connection).commit(Group(transitions=rows))
    opened.close()


def test_answering(running: Path) -> None:
    """`ack` in a process of its own: answered once, a second time it is said that it is; the record says who did first."""
    assert eggroom("ack", "1", "--by", "sam", config=running).stdout == "No. 1: seen by sam; it still stands\n"
    again = eggroom("ack", "1", "--by", "kim", config=running)
    assert (again.returncode, again.stdout) == (0, "No. 1 is seen already; it still stands\n")
    who = query(running, "SELECT who FROM transition WHERE state = 'acknowledged'")
    assert who == [("sam",)]


def test_nobody_is_watching(capsys: Capture, config: Path) -> None:
    """Where no daemon runs, what would look as if all were normal says so first, and since when, and ends with 1; programs are told beside the values."""
    _alarms_of(config, ("node-a", "node-offline"))
    ok(capsys, "batch", "add", "hen-1", "--species", "chicken", "--machine", "setter-1", "--eggs", "6", config=config)
    for arguments in (
        ["alarms"],
        ["batch", "list"],
        ["egg", "show", "hen-1"],
        ["egg", "show", "hen-1", "2"],
        ["ack", "all"],
    ):
        code, out, err = typed(capsys, *arguments, config=config)
        assert (code, err) == (1, "")
        assert out.startswith("NOBODY IS WATCHING: no daemon has run here yet.\nStart it: ")
        code, out, err = typed(capsys, *arguments, "--json", config=config)
        assert code == 1
        assert isinstance(json.loads(out), list | dict)
        assert err.startswith("eggroom: NOBODY IS WATCHING: ")
    code, out, err = typed(capsys, "ack", "99", config=config)
    assert (code, out) == (2, "")
    assert err.startswith("eggroom: NOBODY IS WATCHING: ")
    assert "no such alarm" in err
    code, out, _ = typed(capsys, "now", config=config)
    assert (code, "No eggs are set" in out) == (1, False)
    at = utc_now() - timedelta(hours=3)
    for final, words in ((False, "was last alive"), (True, "was stopped")):
        opened = open_writer(config.parent / "record" / "eggroom.db")
        SqliteLedger(opened.connection).commit(Group(memory=Memory(1.0, at, final)))
        opened.close()
        assert f"It {words} " in typed(capsys, "alarms", config=config)[1]
        assert ", 3 h 0 min ago." in typed(capsys, "alarms", config=config)[1]
        # What is asked of the record while no daemon runs is no sign that one did.
        ok(capsys, "calibrate", "node-a/top", "--offset", "0.3K", config=config)
        assert f"It {words} " in typed(capsys, "alarms", config=config)[1]
        assert ", 3 h 0 min ago." in typed(capsys, "alarms", config=config)[1]


def test_eggs_that_are_to_be_moved_are_due_first(capsys: Capture, running: Path) -> None:
    """By when they are to be in the hatcher, before what is only to come, as `room` says it."""
    add = ("batch", "add", "hen-8", "--species", "chicken", "--machine", "setter-1", "--eggs", "6")
    ok(capsys, *add, "--set", set_days_ago(18.1), config=running)
    try:
        out, data = ok(capsys, "now", config=running), told(capsys, "now", config=running)
        due = [line for line in out.splitlines() if line.startswith("hen-")]
        assert re.fullmatch(r"hen-8: move it for its lockdown by (\d\d \w{3} )?\d\d:\d\d", due[0])
        assert data["due"][0]["what"] == "hen-8: move it for its lockdown"
        assert data["due"][0]["at"].endswith("Z")
        assert re.search(re.escape(due[0]), ok(capsys, "room", config=running).replace("\n    ", " "))
    finally:
        ok(capsys, "batch", "remove", "hen-8", "--sure", config=running)
    assert "hen-8" not in ok(capsys, "now", config=running)


def test_out_of_service_for_a_time(capsys: Capture, running: Path) -> None:
    """With an end it says by the clock on the wall when it is told again; one or the other is typed, and without either it waits for a person."""
    back = "eggroom out-of-service 1 --back"
    told_ = ok(capsys, "out-of-service", "1", "--for", "8h", "--by", "sam", config=running)
    assert re.fullmatch(rf"No. 1: out of service until .*\d\d:\d\d, or: {back}\n", told_)
    assert re.search(r"tells nobody until (\d+ \w+ )?\d\d:\d\d", " ".join(ok(capsys, "alarms", config=running).split()))
    assert typed(capsys, "out-of-service", "1", "--for", "8h", "--back", config=running)[0] == 2
    assert "each day's summary" in ok(capsys, "out-of-service", "1", "--by", "sam", config=running)
    assert ok(capsys, "out-of-service", "1", "--back", "--by", "sam", config=running) == "No. 1: new\n"


def test_a_machine_and_a_probe_out_of_service(capsys: Capture, running: Path) -> None:
    """Named by id or as screens call it; `eggroom`, `alarms`, `room` and `health` say it first, as does their JSON, until it is back."""
    said = ok(capsys, "out-of-service", "hatcher", "1", "--for", "2h", "--by", "sam", config=running)
    back = "eggroom out-of-service hatcher-1 --back"
    assert re.fullmatch(rf"Hatcher 1: out of service until .*\d\d:\d\d, or: {back}\nnothing of it is told\n", said)
    said = ok(capsys, "out-of-service", "node-b/top", "--by", "kim", config=running)
    assert said.startswith("Hatcher 1 (node-b/top): out of service until: eggroom out-of-service node-b/top --back;")
    assert "nothing of Hatcher 1 is told" in said
    for command in ("now", "alarms", "room"):
        first, second = ok(capsys, command, config=running).splitlines()[:2]
        assert re.fullmatch(r"Hatcher 1 out of service until \d\d:\d\d by sam", first), command
        assert second == "Hatcher 1 (node-b/top) out of service until it is put back, by kim", command
    for command in ("now", "room"):
        found = told(capsys, command, config=running)["out_of_service"]
        assert [(each["subject"], each["by"]) for each in found] == [("hatcher-1", "sam"), ("node-b/top", "kim")]
    health = typed(capsys, "health", config=running)[1]
    assert re.search(r"out of service.*Hatcher 1 until \d\d:\d\d by sam", health)
    events = ok(capsys, "events", config=running)
    assert re.search(r"service Hatcher 1: out of service until .* by sam", " ".join(events.split()))
    code, _, err = typed(capsys, "out-of-service", "setter-1", config=running)
    assert (code, "--sure" in err) == (2, True)
    code, _, err = typed(capsys, "out-of-service", "setter-x", config=running)
    assert (code, "nearest setter-1" in err) == (2, True)
    said = ok(capsys, "out-of-service", "Hatcher 1", "--back", config=running)
    assert said == "Hatcher 1: back in service; what stands is told as soon as it is judged\n"
    ok(capsys, "out-of-service", "node-b/top", "--back", config=running)
    assert "out of service" not in ok(capsys, "now", config=running)


def test_eggs_in_what_is_out_of_service(capsys: Capture, config: Path) -> None:
    """Without a daemon it is written, and asked about, alike; eggs that are moved there are told to be watched less, also by the next run."""
    add = ("batch", "add", "hen-1", "--species", "chicken", "--machine", "setter-1", "--eggs", "6")
    ok(capsys, *add, config=config)
    code, _, err = typed(capsys, "out-of-service", "node-a/top", config=config)
    assert code == 2
    assert "eggs of hen-1 are in there, and nobody watches them then, expected --sure" in " ".join(err.split())
    said = typed(capsys, "out-of-service", "node-a/top", "--sure", config=config)[1]
    assert said.endswith("\nnobody watches hen-1\n")
    ok(capsys, "batch", "move", "hen-1", "hatcher-1", config=config)
    said = " ".join(typed(capsys, "batch", "move", "hen-1", "setter-1", config=config)[1].split())
    assert re.search(r"\(node-a/top\) out of service until it is put back, by \S+; nobody watches hen-1", said)
    assert query(config, "SELECT subject, until_ms, ended_ms FROM out") == [("node-a/top", None, None)]


def test_what_is_written_while_somebody_watches_says_nothing_of_it(capsys: Capture, running: Path) -> None:
    """With a daemon what was written is all that is said."""
    for words in ("egg note hen-1 turned", "handling setter-1 --for 1m", "handling setter-1 --done"):
        code, _, err = typed(capsys, *words.split(), config=running)
        assert (code, err) == (0, ""), words
