"""`eggroom check` and `eggroom contact ...`."""

from __future__ import annotations

import re
import shutil
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from monitor.adapters.store.connection import open_writer
from monitor.adapters.store.ledger import SqliteLedger
from monitor.adapters.tables import profiles
from monitor.app import Daemon, StartError, store_path
from monitor.domain.needs.batch import Batch
from monitor.domain.needs.site import Probe
from monitor.domain.needs.then import site_then
from monitor.domain.state.record import Group
from monitor.settings import load_house
from tests.cli.commands import Capture, ok, told
from tests.receivers import HttpReceiver
from tests.running import configure, sample_configuration, set_days_ago, typed


def test_check(capsys: Capture, config: Path) -> None:
    """`check` counts what it found good, and says when nobody is told."""
    assert "nobody is told: no [[contact]] yet" in ok(capsys, "check", config=config)
    found = told(capsys, "check", config=config)
    assert {key: found[key] for key in ("ok", "machines", "probes", "contacts")} == {
        "ok": True,
        "machines": 2,
        "probes": 2,
        "contacts": 0,
    }


def test_a_slow_probe_is_told(capsys: Capture, config: Path) -> None:
    """`check` says how late heat may be told of a probe that speaks each five minutes, and nothing of one that speaks each minute."""
    text = config.read_text(encoding="utf-8")
    assert text.count("interval_s = 600") == 2
    for interval_s, late in ((60, {}), (300, {"node-a/top": 600.0, "node-b/top": 600.0})):
        config.write_text(text.replace("interval_s = 600", f"interval_s = {interval_s}"), encoding="utf-8")
        out = ok(capsys, "check", config=config)
        said = [line for line in out.splitlines() if 'speak each 300 s: "too hot" may come 10 min late' in line]
        assert [re.findall(r"node-./top", line) for line in said] == ([[*late]] if late else [])  # one line for both
        assert told(capsys, "check", config=config)["hot_within_s"] == late


def test_a_probe_too_slow_for_a_forecast_is_told(capsys: Capture, config: Path) -> None:
    """Of one that speaks each quarter of an hour no heat is foretold, and `check` says what would do; each ten minutes is often enough."""
    text = config.read_text(encoding="utf-8")
    said = '2 probes speak each 900 s: "too hot" may come 30 min late (at 60 s, 2), and slow heat is hardly ever foretold (at 600 s it is)'
    assert "foretold" not in ok(capsys, "check", config=config)
    assert told(capsys, "check", config=config)["not_foretold"] == []
    config.write_text(text.replace("interval_s = 600", "interval_s = 900"), encoding="utf-8")
    assert sum(line.startswith(said) for line in ok(capsys, "check", config=config).splitlines()) == 1
    assert told(capsys, "check", config=config)["not_foretold"] == ["node-a/top", "node-b/top"]


def test_a_fan_that_one_sensor_cannot_see_is_told(capsys: Capture, config: Path) -> None:
    """`check` names the machines with a fan and one sensor, as long as eggs may be in them; one in still air is none of them."""
    told_of_fans = "only two, at two heights, see a fan that stopped"
    lines = ok(capsys, "check", config=config).splitlines()
    assert f"one sensor each in setter-1, hatcher-1: {told_of_fans}" in lines
    text = config.read_text(encoding="utf-8")
    config.write_text(text.replace('kind = "hatcher"', 'kind = "hatcher"\nair = "still"'), encoding="utf-8")
    assert f"one sensor each in setter-1: {told_of_fans}" in ok(capsys, "check", config=config).splitlines()


def test_a_probe_that_is_configured_no_longer_is_named(capsys: Capture, config: Path) -> None:
    """While a batch is open whose figures rest on it; its machine by its name."""
    house = load_house(config)
    assert told(capsys, "check", config=config)["configured_no_longer"] == {}
    then = site_then(house.site, [], None)
    replaced = {**then.probes, "node-z/top": Probe("node-z/top", "setter-1")}
    store_path(house).parent.mkdir(parents=True)
    opened = open_writer(store_path(house))
    hens = Batch("hen-1", "chicken", datetime.now(UTC) - timedelta(days=3), 12)
    SqliteLedger(opened.connection).commit(Group(sites=[replace(then, probes=replaced)], batches={"hen-1": hens}))
    opened.close()
    name = house.site.machines["setter-1"].name
    line = f"node-z/top looked at {name} and is configured no longer: what it said then stays in the batches' figures"
    assert line in ok(capsys, "check", config=config).splitlines()
    assert told(capsys, "check", config=config)["configured_no_longer"] == {"node-z/top": "setter-1"}


def test_the_sample_configuration_is_good(capsys: Capture, tmp_path: Path) -> None:
    """The sample in deploy/ passes `check`, once the broker's password is where it says."""
    assert "good: 4 machines, 4 probes" in ok(capsys, "check", config=sample_configuration(tmp_path))


def test_a_species_file_that_is_damaged(
    capsys: Capture, config: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """`check` finds it; else it is one line where that species is asked for, the others go on, and a daemon of its eggs does not start."""
    folder = tmp_path / "species"
    shutil.copytree(str(profiles._shipped_folder()), folder)
    monkeypatch.setattr(profiles, "_shipped_folder", lambda: folder)
    (folder / "emu.toml").write_text("id =")
    line = "emu.toml: Invalid value (at end of document), expected TOML"
    assert typed(capsys, "check", config=config) == (2, "", f"eggroom: {line}\n")
    hen, emu = ("batch", "add", "hen-1", "--species", "chicken"), ("batch", "add", "emu-1", "--species", "emu")
    ok(capsys, *hen, "--set", set_days_ago(3), config=config)
    code, out, err = typed(capsys, *emu, config=config)
    assert (out, err) == ("", f"eggroom: {line}\n")
    assert code != 0
    assert [batch["id"] for batch in told(capsys, "batch", "list", config=config)] == ["hen-1"]
    (folder / "chicken.toml").write_text("id =")
    line = line.replace("emu", "chicken")
    assert typed(capsys, "history", "hen-1", config=config) == (2, "", f"eggroom: {line}\n")
    with pytest.raises(StartError) as raised:
        Daemon(load_house(config)).start()
    assert str(raised.value) == line


def test_contacts_are_masked(capsys: Capture, tmp_path: Path) -> None:
    """`contact list` shows who is told and by which kind of service, not the address."""
    config = configure(tmp_path, 1, contact="ntfys://s3cret-topic")
    assert ok(capsys, "contact", "list", config=config).split() == ["sam", "Sam", "ntfys://…"]
    assert told(capsys, "contact", "list", config=config) == [{"id": "sam", "name": "Sam", "service": "ntfys"}]


def test_contact_test_reaches_the_phone(capsys: Capture, tmp_path: Path) -> None:
    """`contact test` sends one message at once, with or without a daemon, and says that accepted is not heard."""
    with HttpReceiver() as phone:
        config = configure(tmp_path, 1, contact=phone.url())
        assert "Accepted is not heard" in ok(capsys, "contact", "test", "sam", config=config)
        assert told(capsys, "contact", "test", "sam", config=config) == {"contact": "sam", "accepted": True}
        assert [message["title"] for message in phone.got] == ["eggroom: test"] * 2


def test_a_test_of_a_priority_takes_its_way(capsys: Capture, tmp_path: Path) -> None:
    """`contact test --priority` tries the address that this priority has."""
    with HttpReceiver() as phone:
        config = configure(tmp_path, 1, contact=phone.url("own"))
        config.write_text(
            config.read_text().replace('id = "sam"', f'id = "sam"\naddress.critical.url = "{phone.url("loud")}"')
        )
        ok(capsys, "contact", "test", "sam", "--priority", "critical", config=config)
        ok(capsys, "contact", "test", "sam", config=config)
        assert phone.paths == ["/loud", "/own"]


def test_each_address_is_checked(capsys: Capture, tmp_path: Path) -> None:
    """`check` looks at the address of a priority as at the contact's own."""
    config = configure(tmp_path, 1, contact="json://x")
    config.write_text(config.read_text().replace('id = "sam"', 'id = "sam"\naddress.critical.url = "nobody://s3cret"'))
    code, _, err = typed(capsys, "check", config=config)
    assert code == 2
    assert "contact sam: address nobody://***: not a service" in err
