"""What an alarm is about, as facts: what holds of them where nobody says more."""

from __future__ import annotations

from dataclasses import MISSING, fields

import pytest

from monitor.domain.alarms.about import KINDS, Moving, Projection, Setting, Weighed


@pytest.mark.parametrize("kind", [*KINDS.values(), Moving, Weighed, Projection], ids=lambda kind: kind.__name__)
def test_what_is_not_said_of_a_thing_is_not_so(kind: type) -> None:
    """Who makes a fact, or reads one that an older program kept, says what holds: no count, figure, name or flag comes by itself."""
    for field in fields(kind):
        assert field.default is MISSING or not field.default, f"{kind.__name__}.{field.name}"


def test_a_humidity_is_reached_unless_it_is_said_not_to_be() -> None:
    """Of a setting of which only the humidity is known, nobody is told that no egg can be brought into its window by it."""
    bare = Setting(55.0, 29.0)
    assert bare.reachable
    known = (
        bare.now_pct,
        bare.loss_pct,
        bare.served,
        bare.eggs,
        bare.do_pct,
        bare.others,
        bare.others_now,
        bare.others_then,
    )
    assert known == (None,) * len(known)


def test_where_a_loss_leads_is_sure_unless_it_is_said_not_to_be() -> None:
    """Of a loss as an older record has it nobody is told to weigh again, only how the humidity is to be set."""
    bare = Projection(18.0, 16.6, 19.4, (11.0, 14.0), on_track=False)
    assert not bare.unsure
    assert (bare.setting, bare.again) == (None, None)
