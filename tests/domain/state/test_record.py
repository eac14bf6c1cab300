"""What one transaction writes."""

from __future__ import annotations

from dataclasses import fields

import pytest

from monitor.domain.state.memory import Memory
from monitor.domain.state.record import Group
from tests.domain.house import T0


@pytest.mark.parametrize("name", [each.name for each in fields(Group)])
def test_a_group_that_holds_anything_is_to_be_written(name: str) -> None:
    """Each thing alone is reason enough: what is left out here would be lost where nothing else was decided with it."""
    group = Group()
    assert group.empty() is True
    kind = type(getattr(group, name))
    setattr(group, name, Memory(0.0, T0) if name == "memory" else {1: 1} if kind is dict else [1])
    assert group.empty() is False
