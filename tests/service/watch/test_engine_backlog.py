"""The engine under a backlog: larger groups while more waits, and answers to the nodes at most once a second."""

from __future__ import annotations

from monitor.domain.readings.reading import Pack, Sample
from monitor.service.watch.inbox import Arrived, Inbox
from tests.service.watch.test_engine import Desk, at, desk, site

# Written out: taken from the program, they would move with it.
GROUP_MESSAGES = 20  # the window of a broker as it comes
GROUP_BACKLOG = 200  # ten of them
STORED_EVERY_S = 1.0

__all__ = ["desk", "site"]  # fixtures


class _Clock:
    def now(self) -> object:
        return at(1.0)


def _arrived(seq: int, second: float = 1.0) -> Arrived:
    return Arrived(
        at(second), Pack("node-a", (Sample("top", 37.8, 57.0),), boot=7, seq=seq, up_s=seq + 100), (1, seq + 1)
    )


def test_a_group_grows_while_more_waits(desk: Desk) -> None:
    """While others wait a group is written at GROUP_BACKLOG messages; one after which nothing waits is written at the window."""
    for seq in range(GROUP_BACKLOG - 1):
        desk.engine.work(_arrived(seq), more=True)
    assert desk.said == []
    desk.engine.work(_arrived(GROUP_BACKLOG - 1), more=True)
    assert desk.said[0] == ("commit", GROUP_BACKLOG)
    desk.said.clear()
    for seq in range(GROUP_BACKLOG, GROUP_BACKLOG + GROUP_MESSAGES + 4):
        desk.engine.work(_arrived(seq), more=True)
    desk.engine.work(_arrived(GROUP_BACKLOG + GROUP_MESSAGES + 4))
    assert desk.said[0] == ("commit", GROUP_MESSAGES + 5)


def test_what_waits_in_the_inbox_makes_the_group_grow(desk: Desk) -> None:
    """Messages that wait together are written together, and all of them are acknowledged, in order."""
    inbox = Inbox()
    count = 2 * GROUP_MESSAGES + 5
    for seq in range(count):
        inbox.put(_arrived(seq))
    inbox.close(at(1.0))
    desk.engine.run(inbox, _Clock())  # type: ignore[arg-type]
    assert [what for kind, what in desk.said if kind == "commit"] == [count]
    assert [what for kind, what in desk.said if kind == "receipts"] == [list(range(1, count + 1))]


def test_an_alarm_does_not_wait_for_the_backlog(desk: Desk) -> None:
    """A transition is written and told at once, however much waits behind it."""
    for seq, second in enumerate((1.0, 11.0, 21.0, 31.0)):
        hot = Pack("node-a", (Sample("top", 39.5, 51.0),), boot=7, seq=seq, up_s=100 + int(second))
        desk.engine.work(Arrived(at(second), hot, (1, seq + 1)), more=True)
    assert "notices" in desk.kinds()


def test_nodes_are_told_once_a_second(desk: Desk) -> None:
    """Of several groups in one second the first is told at once, and then the newest number when the second is over."""
    for seq in range(3 * GROUP_MESSAGES):
        desk.engine.work(_arrived(seq, 1.0 + seq * 0.001))
    assert desk.kinds().count("commit") == 3
    assert [what for kind, what in desk.said if kind == "stored"] == [[("node-a", 7, GROUP_MESSAGES - 1)]]
    desk.engine.idle(at(1.1 + STORED_EVERY_S))
    assert desk.said[-1] == ("stored", [("node-a", 7, 3 * GROUP_MESSAGES - 1)])


def test_the_last_number_is_told_before_the_end(desk: Desk) -> None:
    """A run that ends leaves no answer untold, even within the second."""
    inbox = Inbox()
    for seq in range(GROUP_MESSAGES):
        desk.engine.work(_arrived(seq))
    inbox.put(_arrived(GROUP_MESSAGES))
    inbox.close(at(1.0))
    desk.engine.run(inbox, _Clock())  # type: ignore[arg-type]
    assert [what for kind, what in desk.said if kind == "stored"][-1] == [("node-a", 7, GROUP_MESSAGES)]
