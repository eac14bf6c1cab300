"""The engine while the record cannot be written: who is told from memory, when, and how often; what waits; and what is made good."""

from __future__ import annotations

import pytest

from monitor.domain.needs.site import Site
from monitor.domain.readings.reading import Now, Pack, Sample
from monitor.domain.state.record import Attempt
from monitor.service.watch import engine as engine_module
from monitor.service.watch.inbox import Arrived, Attempted, Inbox
from tests.service.watch.test_engine import T0, Desk, at, desk, site

__all__ = ["desk", "site"]  # fixtures

HOT, WARM = 39.5, 38.5  # °C: beyond a hen's alarm limit; beyond her warning limit alone


def told(desk: Desk) -> list[list[str]]:
    return [what for kind, what in desk.said if kind == "notices"]


def test_nothing_is_told_before_the_store_has_failed_for_ten_seconds(desk: Desk) -> None:
    """Written before said: a store that fails for under ten seconds holds an alarm's message back, and at ten it goes."""
    for second in (1, 11, 21):
        desk.reading(second, HOT)
    desk.said.clear()
    desk.failing = True
    desk.reading(31, HOT)  # the alarm, and the first commit that fails
    assert desk.engine.counts["failed_commits"] == 1
    desk.engine.idle(at(40.8))
    assert told(desk) == []
    desk.engine.idle(at(41.9))
    assert told(desk) == [["Urgent: Setter 1 too hot"]]
    assert "receipts" not in desk.kinds()
    assert "commit" not in desk.kinds()


def test_only_what_is_urgent_is_told_from_memory(desk: Desk) -> None:
    """A warning waits for the store, however long it fails: only high and critical ones go out unwritten."""
    desk.failing = True
    for second in range(1, 3600, 10):  # what can wait is judged by how the air was lately
        desk.reading(second, WARM)
    (warned,) = {n.priority for n in desk.engine._group.notices}
    assert warned in ("low", "medium")
    assert told(desk) == []
    for second in range(3601, 3661, 10):
        desk.reading(second, HOT)
    assert told(desk) == [["Urgent: Setter 1 too hot"]]
    desk.failing = False
    desk.engine.idle(at(3670))
    assert len(told(desk)) == 2
    assert told(desk)[1] != ["Urgent: Setter 1 too hot"]


def test_each_is_told_from_memory_once(desk: Desk) -> None:
    """However often the commit fails again, a message goes out once; one that is new since goes by itself."""
    desk.failing = True
    for second in range(1, 301, 10):
        desk.reading(second, HOT)
    assert told(desk) == [["Urgent: Setter 1 too hot"]]
    assert desk.engine.counts["failed_commits"] > 20
    for second in range(301, 601, 10):  # over, which is not urgent; and then the heat comes back
        desk.reading(second)
    for second in range(601, 701, 10):
        desk.reading(second, HOT)
    again = told(desk)
    assert again == [["Urgent: Setter 1 too hot"], ["Urgent: Setter 1 too hot"]]
    desk.failing = False
    desk.engine.idle(at(710))
    assert told(desk) == [*again, ["Over: Setter 1 no longer too hot"]]
    (group,) = desk.groups
    assert [n.closing for n in group.notices] == [False, True, False]


def test_what_came_of_an_early_message_is_counted_with_it(desk: Desk) -> None:
    """A message that went out from memory and was delivered is written with its outcome, told no more, and waits for nobody."""
    desk.failing = True
    for second in range(1, 51, 10):
        desk.reading(second, HOT)
    (notice,) = desk.engine._group.notices
    assert desk.engine.facts(at(51))["notices_waiting"] == {"sam": 1}
    desk.engine.work(Attempted(at(52), Attempt(notice.id, "sent", "accepted", T0, "sam")))
    desk.failing = False
    desk.engine.idle(at(60))
    (group,) = desk.groups
    assert [(a.notice, a.outcome) for a in group.attempts] == [(notice.id, "sent")]
    assert len(told(desk)) == 1
    assert desk.engine.facts(at(61))["notices_waiting"] == {}
    assert desk.engine.facts(at(61))["store_failing_s"] is None


def test_a_request_is_answered_when_it_is_written(desk: Desk) -> None:
    """A person is not told that it is done while it is not in the record; the answer comes with the commit that holds it."""
    desk.failing = True
    answers = desk.ask(1, do="move", batch="hen-1", machine="setter-2")
    desk.engine.idle(at(30))
    assert answers == []
    desk.failing = False
    desk.engine.idle(at(40))
    assert len(answers) == 1
    assert "error" not in answers[0]
    assert desk.groups[-1].batches["hen-1"].stays[-1].machine == "setter-2"


def test_the_store_is_tried_once_a_second(desk: Desk) -> None:
    """A store that fails is not hammered: however much arrives, the next try is a second after the last."""
    desk.failing = True
    desk.ask(1, do="move", batch="hen-1", machine="setter-2")
    for tenth in range(1, 51):
        desk.reading(1 + tenth / 10)
    assert desk.engine.counts["failed_commits"] == 6
    assert desk.engine.facts(at(6.5))["store_failing_s"] == pytest.approx(5.5)
    assert desk.engine.facts(at(6.5))["unwritten_readings"] == 50


def test_past_what_memory_may_hold_the_inbox_waits(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    """While the store fails and as much is kept as may be, nothing more is taken in: the broker keeps the rest; then all is taken."""
    monkeypatch.setattr(engine_module, "MAX_KEPT", 30)
    monkeypatch.setattr(engine_module, "BACKED_UP_S", 0.01)
    desk.failing = True
    desk.ask(1, do="move", batch="hen-1", machine="setter-2")
    inbox = Inbox()
    for seq in range(40):
        inbox.put(Arrived(at(1.5), Pack("node-a", (Sample("top", 37.8, 57.0),), 7, seq, seq + 100), (1, seq + 1)))
    looked = 0

    class Clock:
        def now(self) -> Now:
            nonlocal looked
            looked += 1
            if looked == 60:
                assert desk.engine.facts(at(3))["unwritten_readings"] == 30
                assert inbox.waiting() == 10
                desk.failing = False
            if looked == 120:
                inbox.close(at(9))
            return at(1.5 + looked / 20)

    desk.engine.run(inbox, Clock())
    assert sum(len(group.readings) for group in desk.groups) == 40


def test_a_stop_while_the_store_fails_tries_once_more(site: Site, desk: Desk) -> None:
    """A daemon that is told to stop tries at once, not at the next second; what could not be written was acknowledged to nobody."""
    desk.failing = True
    desk.ask(1, do="move", batch="hen-1", machine="setter-2")
    inbox = Inbox()
    inbox.close(at(1.2))

    class Clock:
        def now(self) -> Now:
            return at(1.2)

    desk.engine.run(inbox, Clock())
    assert desk.engine.counts["failed_commits"] == 2
    assert desk.said == []
