"""What the tests of several commands look at: a configuration, and one whose daemon runs."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.cli.commands import GOOD_C, HOT_C
from tests.receivers import HttpReceiver
from tests.running import QUICK, Node, Running, configure, query, set_days_ago, until
from tests.servers import Mosquitto


@pytest.fixture
def config(tmp_path: Path) -> Path:
    return configure(tmp_path, 1, site={"zone": "Europe/Berlin"})


@pytest.fixture(scope="session")
def running(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """The configuration of a running daemon: hen-1 in setter-1 is too hot, setter-1 was right before."""
    folder = tmp_path_factory.mktemp("house")
    rules = {"dry-bulb-high-alarm": QUICK, "dry-bulb-high-warning": {"on_delay_s": 3600}}
    with Mosquitto() as broker, HttpReceiver() as phone:
        config = configure(folder, broker.port, contact=phone.url(), rules=rules, site={"unit": "F"})
        with Running(config) as daemon, Node(broker.port) as node:
            daemon.ask(
                do="batch-add", batch="hen-1", profile="chicken", machine="setter-1", set_at=set_days_ago(5), eggs=24
            )
            node.send(*[GOOD_C] * 10, *[HOT_C] * 10, rh_pct=55.0)
            until(lambda: query(config, "SELECT count(*) FROM reading") == [(20,)], "not stored")
            until(lambda: query(config, "SELECT count(*) FROM notice WHERE state = 'sent'") == [(1,)], "not told")
            yield config
