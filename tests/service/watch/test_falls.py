"""A daemon that keeps dying, on a real record: a danger that it saw before counts on, and that it dies is told.

Each run is what a new process would be: nothing but the record goes from one to the next, and none of them stops.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from itertools import pairwise
from pathlib import Path

import pytest

from monitor.adapters.store.connection import open_writer
from monitor.adapters.store.ledger import SqliteLedger
from monitor.domain.alarms.notice import Notice
from monitor.domain.needs.rules import KEEPS_STOPPING, NO_DATA
from monitor.domain.readings.reading import Now, Pack, Sample
from monitor.domain.state.record import Group
from monitor.service.watch.engine import SOON_S, Engine, start_state
from monitor.service.watch.inbox import Arrived, Stop
from monitor.shown.phone.joined import NoticeWords
from tests.domain.house import RULES, T0, batch, probes, site

HOT, LETHAL, DELAY_S = "dry-bulb-high-alarm", "dry-bulb-lethal", 120.0
SITE = site(
    probes(("node-a/top", "setter-1")),
    contacts=("sam",),
    rules={**RULES, **{name: replace(RULES[name], on_delay_s=DELAY_S) for name in (HOT, LETHAL)}},
)
START_S = 3.0  # from a death to the next run


def rule_of(notice: Notice) -> str:
    return "" if notice.facts is None else notice.facts.rule


class Deaths:
    """One record, and runs on it that are cut off. Times are seconds of the story, on a forward clock that outlives each run."""

    def __init__(self, folder: Path, *, sampled_s: float = 10.0) -> None:
        self.path, self.sampled_s = folder / "eggroom.db", sampled_s
        self.at_s, self.seq = 0.0, 0
        self.told: list[tuple[float, Notice]] = []
        self.written: list[float] = []  # when a memory was
        self.counted = 0
        opened = open_writer(self.path)
        SqliteLedger(opened.connection).commit(Group(batches={"hen-1": batch("hen-1", machine="setter-1", day=5.0)}))
        opened.close()

    def now(self) -> Now:
        return Now(5_000.0 + self.at_s, T0 + timedelta(seconds=self.at_s))

    def run(self, lasts_s: float, *airs_c: float, stops: bool = False) -> None:
        """One run in that air, or in those in turn; without one no node speaks. It is cut off, or stops."""
        opened = open_writer(self.path)
        ledger = SqliteLedger(opened.connection)
        engine = Engine(
            site=SITE,
            ledger=ledger,
            state=start_state(ledger.load(), SITE, self.now()),
            words=NoticeWords(SITE),
            give_receipts=lambda receipts: None,
            tell_stored=lambda rows: None,
            tell_notices=lambda notices: self.told.extend((self.at_s, notice) for notice in notices),
            show_machine=lambda machine, view: None,
            hands_on=True,
        )
        ends_s, sent_s = self.at_s + lasts_s, -1.0
        while self.at_s < ends_s:
            if airs_c and self.at_s // self.sampled_s != sent_s:
                sent_s = self.at_s // self.sampled_s
                air_c = airs_c[self.seq % len(airs_c)]
                pack = Pack("node-a", (Sample("top", air_c, 45.0),), boot=7, seq=self.seq, up_s=int(self.at_s) + 100)
                engine.work(Arrived(self.now(), pack, None))
                self.seq += 1
            engine.idle(self.now())
            written = opened.connection.execute("SELECT json FROM memory").fetchall()
            if written and hash(written[0]) != self.counted:
                self.counted = hash(written[0])
                self.written.append(self.at_s)
            self.at_s += 1.0
        if stops:
            engine.work(Stop(self.now()))
        opened.close()
        self.at_s += START_S

    def first(self, *rules: str) -> float:
        """When it was told first; never: far away."""
        return min((at_s for at_s, notice in self.told if rule_of(notice) in rules), default=1e9)


@pytest.mark.parametrize("lasts_s", [8.0, 15.0, 40.0])
@pytest.mark.parametrize("sampled_s", [2.0, 5.0, 10.0])
def test_heat_is_told_although_no_run_outlives_its_delay(tmp_path: Path, lasts_s: float, sampled_s: float) -> None:
    """A quiet while, then heat, in runs of which none lasts as long as the alarm waits: as late as in one run, and one run more at most."""
    story = Deaths(tmp_path, sampled_s=sampled_s)
    story.run(600.0, 37.5)
    began_s = story.at_s
    while story.at_s < began_s + DELAY_S + 120.0:
        story.run(lasts_s, 41.5)
    assert story.first(HOT, LETHAL) <= began_s + DELAY_S + 2.0 * (lasts_s + START_S) + sampled_s


def test_a_run_that_was_cut_off_long_ago_hands_on_no_delay(tmp_path: Path) -> None:
    """After a quarter of an hour nobody knows what was in between: the delay begins anew, and is all of it."""
    story = Deaths(tmp_path)
    story.run(600.0, 37.5)
    story.run(60.0, 39.5)
    story.at_s += 900.0
    began_s = story.at_s
    story.run(400.0, 39.5)
    assert story.first(HOT) >= began_s + DELAY_S


def test_what_was_over_before_a_death_is_not_told_after_it(tmp_path: Path) -> None:
    """Heat for a minute, then none; later in another run heat again: its delay is its own."""
    story = Deaths(tmp_path)
    story.run(600.0, 37.5)
    story.run(60.0, 39.5)
    story.run(60.0, 37.5)
    began_s = story.at_s
    story.run(400.0, 39.5)
    assert story.first(HOT) >= began_s + DELAY_S


@pytest.mark.parametrize(("lasts_s", "starts"), [(2.0, 3), (15.0, 3), (100.0, 3), (300.0, 4), (1_500.0, 4)])
def test_that_it_keeps_stopping_is_told_with_the_third_start_in_five_minutes(
    tmp_path: Path, lasts_s: float, starts: int
) -> None:
    """Or with the fourth in two hours; at once, and once in the first half hour, with how often."""
    story = Deaths(tmp_path)
    story.run(3_600.0, 37.5, stops=True)
    begins = []
    for _ in range(starts + 1):
        begins.append(story.at_s)
        story.run(lasts_s, 37.5)
    told = [(at_s, notice) for at_s, notice in story.told if rule_of(notice) == KEEPS_STOPPING]
    assert begins[starts - 1] <= told[0][0] < begins[starts - 1] + min(lasts_s, 5.0)
    assert len(told) == 1
    assert told[0][1].priority == "high"
    assert f"{starts} times within" in told[0][1].text


def test_asked_for_starts_are_no_falls(tmp_path: Path) -> None:
    """Somebody who sets it up stops and starts it ten times in five minutes."""
    story = Deaths(tmp_path)
    for _ in range(10):
        story.run(20.0, 37.5, stops=True)
    assert story.first(KEEPS_STOPPING) == 1e9


def test_it_runs_on_after_half_an_hour(tmp_path: Path) -> None:
    """Then that is over, which is told to whom it woke; and a death hours later is the first again."""
    story = Deaths(tmp_path)
    for _ in range(4):
        story.run(15.0, 37.5)
    story.run(1_799.0, 37.5)
    assert len([n for _, n in story.told if rule_of(n) == KEEPS_STOPPING and n.closing]) == 0
    story.run(8_000.0, 37.5)
    ended = [at_s for at_s, n in story.told if rule_of(n) == KEEPS_STOPPING and n.closing]
    assert len(ended) == 1
    before = len(story.told)
    story.run(15.0, 37.5)
    story.run(15.0, 37.5)
    assert not [n for _, n in story.told[before:] if rule_of(n) == KEEPS_STOPPING]


def test_air_that_goes_to_and_fro_about_a_limit_does_not_wear_the_card(tmp_path: Path) -> None:
    """A reading every two seconds, each second one beyond the limit, for ten minutes: the memory is written every ten seconds at most."""
    story = Deaths(tmp_path, sampled_s=2.0)
    story.run(600.0, 37.5)
    before = len(story.written)
    story.run(600.0, 39.3, 37.5)
    written = story.written[before:]
    assert 10 < len(written) <= 600.0 / SOON_S + 3  # at its start, and at each five minutes
    assert all(later - earlier >= SOON_S - 1.0 for earlier, later in pairwise(written[1:]))


def test_no_reading_at_all_is_told_although_no_run_lasts(tmp_path: Path) -> None:
    """Of a silence the runs know nothing by themselves: that is why the falls are told."""
    story = Deaths(tmp_path)
    story.run(600.0, 37.5)
    for _ in range(6):
        story.run(15.0)
    assert story.first(KEEPS_STOPPING) < 1e9
    assert story.first(NO_DATA) == 1e9
