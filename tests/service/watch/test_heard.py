"""What nodes with two probes say, from the bytes on the wire to the phone and the record: bad records, boots nobody heard, clocks that were set."""

from __future__ import annotations

import json
import tomllib
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from monitor.adapters.link.wire import decode
from monitor.adapters.requests import read_request
from monitor.adapters.tables.profiles import load_profiles
from monitor.domain.needs.site import Site
from monitor.domain.readings.reading import Now
from monitor.service.watch.engine import Engine, start_state
from monitor.service.watch.inbox import Arrived, Asked, Stop
from monitor.settings import build_house, parse_settings
from monitor.shown.phone.joined import NoticeWords
from tests.fakes import MemoryStore

T0 = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)
WARM, HOT = 37.6, 39.6
HOUR_S = 3600.0
TOML = """
site = { id = "home", zone = "UTC" }
machine = [{ id = "setter-1", name = "Setter 1", kind = "setter" }]
probe = [
  { node = "n1", probe = "top", machine = "setter-1", interval_s = 60 },
  { node = "n1", probe = "low", machine = "setter-1", interval_s = 60 },
]
contact = [{ id = "sam", name = "Sam", url = "json://localhost" }]
"""


class House:
    """One node in one setter with hens' eggs of day 5, and eggroom, which can be off for a while."""

    def __init__(self) -> None:
        self.site, self.store, self.mid, self.off_s = site(), MemoryStore(), 0, 0.0
        self.start(0.0)
        self.engine.work(
            Asked(
                self.now(0.0),
                read_request(
                    {
                        "do": "batch-add",
                        "batch": "hen-1",
                        "profile": "chicken",
                        "machine": "setter-1",
                        "set_at": "2026-02-24T12:00:00Z",
                    }
                ),
                lambda _: None,
            )
        )

    def start(self, at_s: float) -> None:
        """Begin a run, from what the record holds."""
        self.engine = Engine(
            site=self.site,
            ledger=self.store,
            state=start_state(self.store.load(), self.site, self.now(at_s)),
            words=NoticeWords(self.site),
            give_receipts=lambda _: None,
            tell_stored=lambda _: None,
            tell_notices=lambda _: None,
            show_machine=lambda *_: None,
        )

    def stop(self, at_s: float) -> None:
        self.engine.work(Stop(self.now(at_s)))

    def now(self, at_s: float) -> Now:
        return Now(5000.0 + at_s, T0 + timedelta(seconds=at_s))

    def hear(self, at_s: float, records: list[object]) -> None:
        """A message as it comes from the broker."""
        self.mid += 1
        payload = json.dumps(records).encode()
        message = decode("eggroom/home/n1/air", payload, root="eggroom", site="home", retained=False)
        self.engine.work(Arrived(self.now(at_s), message, (1, self.mid)))

    def tick(self, at_s: float) -> None:
        self.engine.idle(self.now(at_s))

    def told(self) -> list[str]:
        return [row.notice.title for row in self.store.notices()[::-1]]

    def taken(self, probe: str) -> list[tuple[float, float]]:
        """What the record holds of a probe: seconds since T0 and °C, in the order of time."""
        found = self.store.series(probe, T0 - timedelta(days=9000), T0 + timedelta(days=9000))
        return [
            (at_ms / 1000.0 - T0.timestamp(), float(c)) for at_ms, c in zip(found.at_ms, found.dry_bulb_c, strict=True)
        ]


def site() -> Site:
    """The house."""
    house = build_house(parse_settings(tomllib.loads(TOML), "t.toml"), load_profiles(None), Path("t.toml"))
    return house.site


def both(top_c: float, low_c: float, n: int, **first: object) -> list[dict[str, object]]:
    """One instant of both probes; their last digits move, as in any air."""
    records: list[dict[str, object]] = []
    for probe, c in (("top", top_c), ("low", low_c)):
        records.append({"n": f"{probe}/t", "u": "Cel", "v": round(c + 0.01 * (n * 7 % 5), 2)})
        records.append({"n": f"{probe}/rh", "u": "%RH", "v": round(50.0 + 0.1 * (n * 3 % 4), 1)})
    records[0] = {"bn": "n1/", **first, **records[0]}
    return records


BAD = {
    "-127": {"u": "Cel", "v": -127.0},
    "85": {"u": "Cel", "v": 85.0},
    "no value": {"u": "Cel"},
    "a word": {"u": "Cel", "v": "err"},
    "kelvin": {"u": "K", "v": 310.7},
    "no object": 7,
    "nothing": None,
    "a time that is none": {"u": "Cel", "v": 37.5, "t": "x"},
}


@pytest.mark.parametrize("bad", BAD.values(), ids=BAD)
def test_of_ten_instants_with_one_bad_record_nineteen_readings_are_judged(bad: object) -> None:
    """Each ten minutes ten instants of two probes, one record of them bad: the heat of both is told with the second pack that brings it, as of packs
    in which all is well."""
    house = House()
    for pack in range(12):
        at_s = 600.0 * pack
        records: list[object] = []
        for i in range(10):
            n = 10 * pack + i
            c = WARM if pack < 6 else HOT
            for record in both(c, c - 0.1, n):
                record.pop("bn", None)
                records.append({**record, "t": -60 * (9 - i)})
        spoilt = records[16]
        assert isinstance(spoilt, dict)
        records[16] = {**{k: v for k, v in spoilt.items() if k in ("n", "t")}, **bad} if isinstance(bad, dict) else bad
        first = records[0]
        assert isinstance(first, dict)
        records[0] = {"bn": "n1/", "boot": 7, "seq": pack, "up": int(at_s) + 540, **first}
        house.hear(at_s + 541.0, records)
        told = [title for title in house.told() if "too hot" in title]
        assert len(told) == (pack >= 7)
    house.stop(7300.0)
    top, low = house.taken("n1/top"), house.taken("n1/low")
    assert len(top) + len(low) >= 12 * 19
    assert not [c for c in (c for _, c in (*top, *low)) if not 37.0 < c < 40.0 and c not in (-127.0, 85.0) and c == c]


@pytest.mark.parametrize("clock", [False, True], ids=["counts", "has a clock"])
def test_a_boot_that_came_and_went_while_nobody_listened(clock: bool) -> None:
    """Off for two hours; a boot of forty minutes in them is over before the next of its node begins, and the heat of now is told."""
    house = House()

    def say(boot: int, seq: int, *, up_s: float, began_s: float, at_s: float, c: float = WARM) -> None:
        first: dict[str, object] = {"boot": boot, "seq": seq, "up": int(up_s)}
        if clock:
            first["bt"] = int(T0.timestamp() + began_s + up_s)
        house.hear(at_s, list(both(c, c - 0.1, seq, **first)))

    for n in range(30):
        say(1, n, up_s=60.0 * n, began_s=0.0, at_s=60.0 * n)
    house.stop(1800.0)
    house.start(9000.0)
    for n in range(40):  # 1800 to 4200
        say(2, n, up_s=60.0 * n, began_s=1800.0, at_s=9000.0 + 0.01 * n)
    for n in range(70):  # from 4800 on
        say(3, n, up_s=60.0 * n, began_s=4800.0, at_s=9001.0 + 0.01 * n)
    for n in range(70, 80):
        say(3, n, up_s=60.0 * n, began_s=4800.0, at_s=4800.0 + 60.0 * n, c=HOT)
    assert [title for title in house.told() if "too hot" in title]
    house.stop(9700.0)
    for probe in ("n1/top", "n1/low"):
        at = [at_s for at_s, _ in house.taken(probe)]
        assert len(at) == 30 + 40 + 80
        boots = at[:30], at[30:70], at[70:]
        assert boots[1][-1] <= 4800.0 + 1.0
        assert boots[2][0] == pytest.approx(4800.0, abs=1.5)
        if clock:
            assert boots[1][0] == pytest.approx(1800.0, abs=1.5)


@pytest.mark.parametrize("by_s", [-HOUR_S, -24 * HOUR_S, -3650 * 24 * HOUR_S, HOUR_S, 3650 * 24 * HOUR_S])
def test_a_clock_that_is_set_silences_nothing_of_two_probes(by_s: float) -> None:
    """A node that tells absolute times alone: heat that begins with the setting is told as soon as without it, `events` says so, and its
    readings lie where they were taken."""

    def told_s(set_by_s: float) -> tuple[float, House]:
        house, first_s = House(), -1.0
        for n in range(120):
            at_s = 60.0 * n
            clock_s = T0.timestamp() + at_s + (0.0 if n < 60 else set_by_s)
            c = WARM if n < 60 else HOT
            house.hear(at_s + 0.4, list(both(c, c - 0.1, n, bt=int(clock_s))))
            if first_s < 0.0 and [title for title in house.told() if "too hot" in title]:
                first_s = at_s
        house.stop(7300.0)
        return first_s, house

    right_s, _ = told_s(0.0)
    first_s, house = told_s(by_s)
    assert 3600.0 < first_s <= right_s + 60.0
    assert not [title for title in house.told() if "no reading" in title or "not usable" in title]
    assert [e for e in house.store.events() if e.kind == "clock"]
    for probe in ("n1/top", "n1/low"):
        at = [at_s for at_s, _ in house.taken(probe)]
        assert len([s for s in at if -1.0 <= s <= 7300.0]) >= 119


def test_where_half_of_the_time_is_missing_the_rest_is_judged() -> None:
    """Every other hour without a message: told each time that nobody watches, and the heat of an hour within its first minutes."""
    house = House()
    heat: list[float] = []
    for n in range(10 * 60):
        at_s = 60.0 * n
        if (n // 60) % 2 == 0:
            hot = n // 60 == 8
            house.hear(at_s, list(both(HOT if hot else WARM, WARM - 0.1, n, boot=7, seq=n, up=int(at_s))))
            if hot and not heat and [title for title in house.told() if "too hot" in title]:
                heat.append(at_s)
        else:
            house.tick(at_s)
    assert heat
    assert heat[0] - 8 * HOUR_S <= 900.0
    silent = [title for title in house.told() if "no reading" in title or "silent" in title]
    assert len(silent) >= 4
