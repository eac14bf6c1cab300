"""A cut that took everything, before the daemon as a real process: for how long nobody watched, in the house's own time, and what the eggs felt."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from tests.receivers import HttpReceiver
from tests.running import Node, Running, configure, query, set_days_ago, until
from tests.servers import Mosquitto

ZONE = "Asia/Kolkata"
HOURS = 6
# The label of the next run is six hours on, as after a cut that long.
LATER = f"""
from datetime import UTC, datetime, timedelta
from monitor.adapters.clock import SystemClock
SystemClock.__init__.__kwdefaults__["utc"] = lambda: datetime.now(UTC) + timedelta(hours={HOURS})
"""


def test_after_a_cut_the_phone_is_told_for_how_long_and_what_the_eggs_felt(tmp_path: Path) -> None:
    """Once, with the beginning on the wall's clock, the air as it is, and the eggs between that and what they were."""
    with Mosquitto() as broker, HttpReceiver() as phone:
        config = configure(tmp_path, broker.port, contact=phone.url(), site={"zone": ZONE})
        with Running(config) as daemon:
            daemon.ask(do="batch-add", batch="hen-1", profile="chicken", machine="setter-1", set_at=set_days_ago(5))
            with Node(broker.port) as node:
                node.send(*[37.8] * 4)
                until(lambda: query(config, "SELECT count(*) FROM reading") == [(4,)], "not stored")
            assert daemon.terminate() == 0
        with Running(config) as daemon, Node(broker.port, boot=8) as node:
            node.send(*[37.8] * 4)
            until(lambda: query(config, "SELECT count(*) FROM reading") == [(8,)], "not stored")
            cut_at = datetime.now(UTC)
            daemon.kill()
        with Running(config, prelude=LATER), Node(broker.port, boot=9) as node:
            node.send(24.0, 24.0)
            until(lambda: any("nobody watched" in told for told in _told(phone)), "not told")
            (told,) = [each for each in _told(phone) if "nobody watched" in each]
        found = re.search(r"for (6\.\d) h, from (\d\d:\d\d) on", told)
        assert found is not None, told
        since = datetime.strptime(found[2], "%H:%M").replace(tzinfo=UTC)
        local = cut_at.astimezone(ZoneInfo(ZONE))
        apart_min = abs((since.hour * 60 + since.minute) - (local.hour * 60 + local.minute))
        assert min(apart_min, 1440 - apart_min) <= 2
        assert "air 24.0 °C now" in told
        eggs = re.search(r"eggs about (\d+\.\d) °C", told)
        assert eggs is not None, told
        assert 24.0 <= float(eggs[1]) < 37.0


def _told(phone: HttpReceiver) -> list[str]:
    return [str(message) for message in phone.got]
