"""The engine while the record cannot be written: who is told from memory, when, and how often; what waits; and what is made good."""

from __future__ import annotations

from dataclasses import replace

import pytest

from monitor.domain.alarms.notice import Today
from monitor.domain.needs.rules import NOT_RECORDED
from monitor.domain.needs.site import Site
from monitor.domain.readings.reading import Now
from monitor.domain.state.happened import NotRecorded
from monitor.domain.state.record import Attempt
from monitor.domain.watch.plan import SITE_SUBJECT
from monitor.service.watch import engine as engine_module
from monitor.service.watch.inbox import Attempted, Inbox, Opened
from tests.service.watch.test_engine import NOTHING, T0, Desk, at, desk, site

__all__ = ["desk", "site"]  # fixtures

HOT, WARM = 39.5, 38.5  # °C: beyond a hen's alarm limit; beyond her warning limit alone


ITSELF = "When you can: All machines not being recorded"


def told(desk: Desk) -> list[list[str]]:
    """What was told besides that nothing is recorded."""
    each = [[title for title in what if "record" not in title] for kind, what in desk.said if kind == "notices"]
    return [what for what in each if what]


def told_of_itself(desk: Desk) -> list[str]:
    return [title for kind, what in desk.said if kind == "notices" for title in what if "record" in title]


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
    (warned,) = {n.priority for n in desk.engine._group.notices if n.title != ITSELF}
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
    assert [n.closing for n in group.notices if n.title != ITSELF] == [False, True, False]


def test_what_came_of_an_early_message_is_counted_with_it(desk: Desk) -> None:
    """A message that went out from memory and was delivered is written with its outcome, told no more, and waits for nobody."""
    desk.failing = True
    for second in range(1, 51, 10):
        desk.reading(second, HOT)
    notice, itself = sorted(desk.engine._group.notices, key=lambda n: n.title == ITSELF)
    assert desk.engine.facts(at(51))["notices_waiting"] == {"sam": 2}
    desk.engine.work(Attempted(at(51), Attempt(itself.id, "sent", "accepted", T0, "sam")))
    desk.engine.work(Attempted(at(52), Attempt(notice.id, "sent", "accepted", T0, "sam")))
    desk.failing = False
    desk.engine.idle(at(60))
    (group,) = desk.groups
    assert [(a.notice, a.outcome) for a in group.attempts] == [(itself.id, "sent"), (notice.id, "sent")]
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


def test_past_what_memory_may_hold_every_second_reading_is_left_out(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    """However long the store fails, it is judged on; what is kept stays within the bound, and of each probe from the first to the newest.
    How many were left out is counted, and written with the rest."""
    monkeypatch.setattr(engine_module, "MAX_KEPT", 40)
    desk.failing = True
    for second in range(1, 1001, 10):
        desk.reading(second)
        assert len(desk.engine._group.readings) < 40
    facts = desk.engine.facts(at(1000))
    assert [facts["unwritten_readings"], facts["left_out_readings"]] == [
        kept := len(desk.engine._group.readings),
        100 - kept,
    ]
    for second in range(1001, 1042, 10):
        desk.reading(second, HOT)
    assert ["Urgent: Setter 1 too hot"] in told(desk)
    desk.failing = False
    desk.engine.idle(at(1051))
    desk.engine.idle(at(1057))
    written = [r.up_ms // 1000 - 100 for group in desk.groups for r in group.readings]
    assert (written[0], written[-1]) == (1, 1041)
    assert sorted(set(written)) == written
    (event,) = [e for group in desk.groups for e in group.events if e.kind == "record"]
    assert event.what == NotRecorded(1040.0, 105 - len(written))
    assert event.text.startswith("nothing could be written down for 17 min; ")


def test_that_nothing_is_recorded_is_told_once(desk: Desk) -> None:
    """Ten seconds after it began, with why and since when. When it is written again that is over, which is no message of its own."""
    desk.failing, desk.why = True, "full"
    for second in range(1, 601, 10):
        desk.reading(second)
    assert told_of_itself(desk) == [ITSELF]
    assert told(desk) == []
    (notice,) = desk.engine._group.notices
    assert "The card is full" in notice.text
    alarm = desk.engine._state.alarms[SITE_SUBJECT, NOT_RECORDED]
    assert alarm.since is not None
    assert (alarm.since - T0).total_seconds() == pytest.approx(6.0, abs=6.0)
    desk.failing = False
    desk.engine.idle(at(610))
    desk.engine.idle(at(612))
    assert told_of_itself(desk) == [ITSELF]
    assert not desk.engine._state.alarms[alarm.key].condition
    assert sum(len(group.readings) for group in desk.groups) == 60


def test_a_short_failure_is_no_news(desk: Desk) -> None:
    """A card that is busy for eight seconds: everything is written, and nobody is told."""
    desk.failing = True
    for second in range(1, 9):
        desk.reading(second)
    desk.failing = False
    for second in range(9, 30):
        desk.reading(second)
    assert told_of_itself(desk) == []
    assert not [e for group in desk.groups for e in group.events]
    assert desk.said.index(("commit", 9)) < desk.kinds().index("receipts")


def test_a_broker_with_a_window_is_heard_on(desk: Desk) -> None:
    """After ten seconds all but the newest ten messages get their receipts, or a broker that waits for them sends nothing more. None of them is
    said to be stored, so that nodes keep them, until it is."""
    desk.failing = True
    window: set[int] = set()
    heard = 0
    for tenth in range(1, 1200):
        given = {mid for kind, what in desk.said if kind == "receipts" for mid in what}
        desk.engine.idle(at(tenth / 10.0))
        if len(window - given) < 20:
            desk.reading(tenth / 10.0)
            window.add(desk.seq)
            heard += 1
    assert heard > 1000
    assert len(window - {mid for kind, what in desk.said if kind == "receipts" for mid in what}) == 10
    assert "stored" not in desk.kinds()
    desk.failing = False
    desk.engine.idle(at(121))
    assert [mid for kind, what in desk.said if kind == "receipts" for mid in what] == list(range(1, heard + 1))
    assert ("stored", [("node-a", 7, heard - 1)]) in desk.said


def test_what_stood_when_it_was_cut_off_is_over_in_a_record_that_can_be_written(site: Site) -> None:
    """Killed between the first commit that held and the next, the alarm is in the record as standing; the next run is written to."""
    before = Desk(site)
    before.failing = True
    before.reading(1)
    for second in range(5, 30, 5):
        before.engine.idle(at(second))
    before.failing = False
    before.engine.idle(at(30))
    (standing,) = [t.alarm for t in before.groups[0].transitions]
    assert standing.condition
    after = Desk(site, replace(NOTHING, alarms=(standing,)))
    after.engine.work(Opened(at(40), None))
    after.engine.idle(at(41))
    assert not after.engine._state.alarms[standing.key].condition


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


def test_the_summary_of_the_day_goes_out_from_memory(desk: Desk) -> None:
    """What is low is told there, also that nothing is recorded."""
    desk.failing = True
    for second in range(1, 30, 5):
        desk.reading(second)
    (itself,) = desk.engine._group.notices
    day = replace(itself, id=99, dedupe="99", alarm_number=0, title="When you can: today", facts=None, today=Today())
    desk.engine._group.notices.append(day)
    desk.engine.idle(at(31))
    desk.engine.idle(at(32))
    assert told(desk) == [["When you can: today"]]
