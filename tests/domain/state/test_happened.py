"""What happened, as facts: what is meant where nothing more is said."""

from __future__ import annotations

from monitor.domain.state.happened import Closed, CoolingSaid, StageSaid


def test_what_happened_was_not_taken_back_unless_it_is_said() -> None:
    """A batch is closed, a stage declared, a cooling begun to be done: rows of before one could take them back say no more."""
    assert Closed() != Closed(again=True)
    assert not Closed().again
    assert not StageSaid("lockdown").back
    assert not CoolingSaid("hen-1", "08:00", 30.0).ended
