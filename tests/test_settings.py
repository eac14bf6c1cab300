"""The configuration file: what is wrong with it, one line each, with where, what came and what was expected."""

from __future__ import annotations

import re
import subprocess
import sys
import tomllib
from collections.abc import Callable
from datetime import time
from pathlib import Path
from typing import Any

import pytest

from monitor.adapters.tables.refused import Complaint
from monitor.adapters.tables.rules import shipped_rules
from monitor.adapters.tables.toml import lines_of, numbered
from monitor.domain.air.psychrometrics import pressure_kpa
from monitor.domain.needs.hearing import Hearing
from monitor.domain.needs.site import Switch
from monitor.settings import (
    House,
    Settings,
    SettingsError,
    load_house,
    load_house_and_contacts,
    parse_settings,
    read_contacts,
    read_settings,
)
from tests.delivery_port import notice
from tests.running import another_account

DEPLOY = Path(__file__).parents[1] / "deploy" / "eggroom.toml"
SOUND = """
[site]
id = "home"
zone = "Europe/Berlin"
elevation_m = 500

[[machine]]
id = "setter-1"
name = "Setter 1"

[[probe]]
node = "node-a"
probe = "top"
machine = "setter-1"
interval_s = 15
"""


@pytest.fixture
def write(tmp_path: Path) -> Callable[..., Path]:
    """A configuration file: SOUND with each `old` replaced by `new`, and `more` behind it."""

    def written(more: str = "", **changes: str) -> Path:
        text = SOUND + more
        for old, new in changes.items():
            assert old in text
            text = text.replace(old, new)
        path = tmp_path / "eggroom.toml"
        path.write_text(text, encoding="utf-8")
        return path

    return written


def said_of(error: SettingsError) -> list[str]:
    """What is wrong, each complaint a line."""
    return [*map(str, error.complaints)]


def complaints(path: Path) -> list[str]:
    """The lines of a configuration that cannot be used, or whose contacts cannot, without the file they begin with."""
    with pytest.raises(SettingsError) as raised:
        load_house_and_contacts(path)
    lines = said_of(raised.value)
    assert lines
    for line in lines:
        assert "\n" not in line
        assert "Traceback" not in line
    return [re.sub(r"^line \d+: (?!bytes)", "", line.removeprefix(f"{path}: ")) for line in lines]


@pytest.mark.parametrize(
    ("before", "after", "line"),
    [
        ('zone = "UTC"', 'zone = "Moon"', 'zone = "Moon"'),
        ("elevation_m = 500", "elevation_m = 9000", "elevation_m = 9000"),
        ("elevation_m = 500", "elevation_m = 500\ncolour = 1", "colour = 1"),
        ("interval_s = 15", "interval_s = -1", "interval_s = -1"),
        ('kind = "setter"', 'kind = "oven"', 'kind = "oven"'),
        ("[[machine]]", "[[scale]]\nid = 'kitchen'\nerror_g = '0.1'\n\n[[machine]]", "error_g = '0.1'"),
        ("[[probe]]", "[machine.rules.too-hot]\non_delay_s = 5\n\n[[probe]]", "[machine.rules.too-hot]"),
    ],
)
def test_a_complaint_names_its_line(tmp_path: Path, before: str, after: str, line: str) -> None:
    """Whoever looks for the mistake opens the file there."""
    text = SAMPLE
    assert before in text
    path = tmp_path / "eggroom.toml"
    path.write_text(text.replace(before, after, 1), encoding="utf-8")
    with pytest.raises(SettingsError) as raised:
        load_house_and_contacts(path)
    at = text.replace(before, after, 1).splitlines().index(line) + 1
    assert [each for each in said_of(raised.value) if each.startswith(f"{path}: line {at}: ")] == said_of(raised.value)[
        :1
    ]


SAMPLE = """\
[site]
id = "home"
zone = "UTC"
elevation_m = 500

[[machine]]
id = "setter-1"  # the first
kind = "setter"

[[probe]]
node = "node-a"
probe = "top"
machine = "setter-1"
interval_s = 15
"""


@pytest.mark.parametrize(
    ("key", "line"),
    [
        (("machine setter-2",), 3),
        (("machine setter-2", "rules.too-hot"), 5),
        (("machine setter-2", "rules", "too-hot.limit"), 6),
        (("probe node-a/top",), 7),
        (("machine[2].kind",), 3),
        (("rules.x",), 0),
        ((), 0),
    ],
)
def test_a_thing_is_found_by_what_the_house_calls_it(key: tuple[str, ...], line: int) -> None:
    """By its id, its node and probe, or its place; where nothing is found, nothing is claimed."""
    text = "[[machine]]\nid = 'setter-1'\n[[machine]]\nid = 'setter-2'\n[machine.rules.too-hot]\nlimit = 5\n[[probe]]\nnode = 'node-a'\nprobe = 'top'\n"
    told = numbered(Complaint("e.toml", *key, came="it is odd", expected="x"), lines_of(text))
    about = "".join(f"{part}: " for part in key)
    assert str(told) == f"e.toml: {f'line {line}: ' if line else ''}{about}it is odd, expected x"


def test_the_sample_configuration_loads() -> None:
    """The file that is shipped as an example is sound, and says where the record lies."""
    house = load_house(DEPLOY)
    assert house.site.id == "home"
    assert list(house.site.machines) == ["setter-1", "setter-2", "hatcher-1", "room"]
    assert house.site.by_node["node-a"][0].key == "node-a/top"
    assert len(house.site.profiles) >= 30
    assert str(house.settings.site.data) == "/var/lib/eggroom"


def test_the_samples_commented_settings_load_too() -> None:
    """Every setting that the sample shows in a comment is one, and is sound once the files it names are there."""
    lines = []
    for line in DEPLOY.read_text(encoding="utf-8").splitlines():
        bare = line.removeprefix("# ")
        code = bare.startswith("[") or " = " in bare.split("#")[0]
        lines.append(bare if line.startswith("# ") and code else line)
    data = tomllib.loads("\n".join(lines))
    settings = parse_settings(data, "sample")
    assert settings.contact
    assert settings.payload
    assert settings.rules
    assert settings.site.wick_coefficient_per_k is not None
    assert settings.broker.password_file is not None


def test_what_a_file_becomes(write: Callable[..., Path]) -> None:
    """Machines, probes, contacts and rules as the parts need them, with their defaults."""
    more = """
[[contact]]
id = "sam"
url = "json://127.0.0.1/hook"

[rules.dry-bulb-high-warning]
on_delay_s = 180
"""
    house: House = load_house(write(more))
    probe = house.site.probes["node-a/top"]
    assert (probe.machine, probe.interval_s, probe.silence_s, probe.fresh_s) == ("setter-1", 15.0, 45.0, 60.0)
    assert (house.site.machines["setter-1"].kind, house.site.machines["setter-1"].air) == ("setter", "forced")
    assert house.site.pressure_kpa == pytest.approx(float(pressure_kpa(500.0)))
    assert house.site.settle_s == 3600.0
    assert house.site.contacts == ("sam",)
    assert house.site.rules["dry-bulb-high-warning"].on_delay_s == 180
    assert house.site.rules["dry-bulb-high-alarm"] == shipped_rules()["dry-bulb-high-alarm"]
    assert "json://" not in repr(read_contacts(house.settings, house.path))


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    """A missing file, or a folder in its place, is one line."""
    assert complaints(tmp_path / "none.toml") == ["No such file or directory, expected a configuration file"]
    assert complaints(tmp_path) == ["Is a directory, expected a configuration file"]


@pytest.mark.parametrize(
    ("content", "complaint"),
    [
        (b"[site\nid = 1", "Expected ']' at the end of a table declaration, expected TOML"),
        (b"\xff\xfe", "line 1: bytes that are not UTF-8, expected text"),
    ],
)
def test_what_is_not_toml(tmp_path: Path, content: bytes, complaint: str) -> None:
    """Text that is not TOML, and bytes that are not text, say where it went wrong."""
    path = tmp_path / "eggroom.toml"
    path.write_bytes(content)
    assert complaints(path) == [complaint]


def test_an_empty_file(tmp_path: Path) -> None:
    """An empty file is told everything it lacks, at once."""
    path = tmp_path / "eggroom.toml"
    path.write_text("")
    assert complaints(path) == [f"{name}: missing, expected a value" for name in ("site", "machine", "probe")]


BROKER = "127.0.0.1"
UNKNOWN = "unknown setting, expected one of: "


@pytest.mark.parametrize(
    ("more", "complaint"),
    [
        (
            "[colour]\nred = 1\n",
            f"colour: {UNKNOWN}broker, contact, machine, payload, probe, rules, scale, site, switch",
        ),
        (
            "[broker]\nhots = '127.0.0.1'\n",
            f"broker.hots: {UNKNOWN.replace(',', ', nearest host,')}ca_file, host, keepalive_s, password_file, port, protocol, root, username",
        ),
        (
            "[[machine]]\nid = 'x'\nknid = 'setter'\n",
            f"machine[2].knid: {UNKNOWN.replace(',', ', nearest kind,')}air, id, kind, name, rules",
        ),
        (
            "[[probe]]\nnode = 'n'\nprobe = 'p'\nmachine = 'setter-1'\ninterval = 5\n",
            f"probe[2].interval: {UNKNOWN.replace(',', ', nearest interval_s,')}interval_s, machine, node, position, probe",
        ),
        (
            "[[contact]]\nid = 'sam'\nulr = 'x'\n",
            f"contact[1].ulr: {UNKNOWN}address, from_priority, hours, id, name, summary, url, url_file",
        ),
    ],
)
def test_an_unknown_setting_names_the_known_ones(write: Callable[..., Path], more: str, complaint: str) -> None:
    """A misspelt setting is an error that says which ones there are: a limit that is misspelt is a limit that is not there."""
    assert complaint in complaints(write(more))


@pytest.mark.parametrize(
    ("more", "complaint"),
    [
        ("[broker]\nport = 0\n", "broker.port: 0, expected greater than or equal to 1"),
        ("[broker]\nport = 'x'\n", "broker.port: 'x', expected a valid integer"),
        ("[broker]\nprotocol = '4'\n", "broker.protocol: '4', expected '3.1.1' or '5'"),
        ("[[machine]]\nid = 'Setter 2'\n", "machine[2].id: 'Setter 2', expected the form ^[a-z0-9-]{1,32}$"),
        ("[[machine]]\nid = 'x'\nkind = 'oven'\n", "machine[2].kind: 'oven', expected 'setter', 'hatcher', 'brooder' or 'room'"),
        ("[[machine]]\nid = 'x'\nname = 'wwwwwwwwwwwwwwwwwwwwwwwww'\n", "machine[2].name: 'wwwwwwwwwwwwwwwwwwwwwwwww', expected at most 24 characters"),
        ("[[contact]]\nid = 'sam'\n", "contact[1]: a table, expected one of url and url_file"),
        ("[[contact]]\nid = 'sam'\nurl = 'a'\nurl_file = 'b'\n", "contact[1]: a table, expected one of url and url_file"),
        ("[[contact]]\nid = 'sam'\nurl = 'a'\n[[contact]]\nid = 'sam'\nurl = 'b'\n", "contact sam: named twice, expected each id once"),
        ("[[machine]]\nid = 'setter-1'\n", "machine setter-1: named twice, expected each id once"),
        ("[[machine]]\nid = 'setter-2'\n", "machine setter-2: no probe looks at it, expected at least one [[probe]]"),
        (
            "[[probe]]\nnode = 'node-a'\nprobe = 'top'\nmachine = 'setter-1'\n",
            "probe node-a/top: named twice, expected each probe once",
        ),
        (
            "[[probe]]\nnode = 'node-b'\nprobe = 'top'\nmachine = 'cellar'\n",
            "probe node-b/top: machine 'cellar', expected one of: setter-1",
        ),
        ("[[contact]]\nid = 'sam'\nurl = ' '\n", "contact sam: url: empty, expected an address"),
        ("[[contact]]\nid = 'sam'\nurl = 'a'\nfrom_priority = 'loud'\n", "contact[1].from_priority: 'loud', expected 'low', 'medium', 'high' or 'critical'"),
        ("[[contact]]\nid = 'sam'\nurl = 'a'\nhours = '7-22'\n", "contact[1].hours: '7-22', expected two times of day such as 07:00-22:00"),
        ("[[contact]]\nid = 'sam'\nurl = 'a'\nhours = '07:00-07:00'\n", "contact[1].hours: '07:00-07:00', expected two times of day such as 07:00-22:00"),
        ("[[contact]]\nid = 'sam'\nurl = 'a'\nsummary = '24:00'\n", "contact[1].summary: '24:00', expected a time of day such as 07:30"),
        ("[[contact]]\nid = 'sam'\nurl = 'a'\nsummary = 8\n", "contact[1].summary: 8, expected a time of day such as 07:30"),
        ("[[contact]]\nid = 'sam'\nurl = 'a'\nhours = '07:00-22:00'\nsummary = '06:30'\n", "contact sam: summary: 06:30, expected a time within its hours"),
        ("[[contact]]\nid = 'sam'\nurl = 'a'\n[contact.address.loud]\nurl = 'b'\n", "contact[1].address.loud: 'loud', expected 'low', 'medium', 'high' or 'critical'"),
        ("[[contact]]\nid = 'sam'\nurl = 'a'\n[contact.address.high]\n", "contact[1].address.high: {}, expected one of url and url_file"),
        ("[[contact]]\nid = 'sam'\nurl = 'a'\n[contact.address.high]\nurl = ''\n", "contact sam: address.high.url: empty, expected an address"),
        ("[rules.too-hot]\non_delay_s = 5\n", f"rules.too-hot: no such rule, nearest egg-too-hot, expected one of {len(shipped_rules())}"),
        (
            "[rules.dry-bulb-high-alarm]\non_delay_s = -5\n",
            "rules.dry-bulb-high-alarm.on_delay_s: -5, expected a number from 0 to 604800",
        ),
        (
            "[rules.dry-bulb-high-alarm]\nwords = 'hot'\n",
            f"rules.dry-bulb-high-alarm.words: {UNKNOWN}deadband, limit, off_delay_s, on_delay_s, priority, re_alarm_s, respond_min",
        ),
        (
            "[rules.dry-bulb-high-alarm]\nlimit = 102\n",
            "rules: dry-bulb-high-alarm.limit: 102, expected a number from 20 to 45 (°C)",
        ),
        ("[rules]\ndry-bulb-high-alarm = 5\n", "rules.dry-bulb-high-alarm: 5, expected a table"),
        (
            "[[contact]]\nid = 'me'\nurl = 'json://x'\nname = \"a\\nb\"\n",
            "contact[1].name: 'a\\nb', expected text in one line, without control characters",
        ),
    ],
)  # fmt: skip
def test_a_setting_that_cannot_be(write: Callable[..., Path], more: str, complaint: str) -> None:
    """Each setting that cannot be used is one line."""
    assert complaints(write(more)) == [complaint]


@pytest.mark.parametrize(
    ("old", "new", "complaint"),
    [
        ("interval_s = 15", "interval_s = true", "probe[1].interval_s: True, expected a valid number"),
        ("interval_s = 15", "interval_s = '15'", "probe[1].interval_s: '15', expected a valid number"),
        ("interval_s = 15", "interval_s = nan", "probe[1].interval_s: nan, expected a finite number"),
        ("elevation_m = 500", "elevation_m = '500'", "site.elevation_m: '500', expected a valid number"),
        ("elevation_m = 500", "settle_min = false", "site.settle_min: False, expected a valid number"),
        ("elevation_m = 500", "wick_coefficient_per_k = '8e-4'", "site.wick_coefficient_per_k: '8e-4', expected a valid number"),
        ("elevation_m = 500", "data = 5", "site.data: 5, expected a path"),
        ("elevation_m = 500", "\n[broker]\nport = '1883'", "broker.port: '1883', expected a valid integer"),
        ("elevation_m = 500", "\n[broker]\nport = 1883.0", "broker.port: 1883.0, expected a valid integer"),
        ("elevation_m = 500", "\n[broker]\nkeepalive_s = true", "broker.keepalive_s: True, expected a valid integer"),
        ("elevation_m = 500", "\n[[scale]]\nid = 'kitchen'\nerror_g = '0.1'", "scale[1].error_g: '0.1', expected a valid number"),
        ("[[machine]]", "[machine]", "machine: a table, expected a list"),
    ],
)  # fmt: skip
def test_a_value_of_another_kind(write: Callable[..., Path], old: str, new: str, complaint: str) -> None:
    """A truth is no number, nor is a text that looks like one: a sensor said to come each `true` seconds would be silent all day."""
    assert complaints(write(**{old: new})) == [complaint]


def test_a_whole_number_where_a_fraction_may_be(write: Callable[..., Path]) -> None:
    """`15` and `15.0` say the same, and paths and lists are written as TOML has them."""
    whole, fraction = (
        load_house(write()),
        load_house(write(**{"interval_s = 15": "interval_s = 15.0\n[[scale]]\nid='k'\nerror_g=1"})),
    )
    assert whole.site.probes == fraction.site.probes
    assert fraction.site.scales == {"k": 1.0}
    assert load_house(write(**{"elevation_m = 500": "data = 'here'"})).settings.site.data == Path("here")


OF_MACHINE = "machine setter-1: rules"


@pytest.mark.parametrize(
    ("rules", "complaint"),
    [
        ("[machine.rules.too-hot]\non_delay_s = 5", f"{OF_MACHINE}.too-hot: no such rule, nearest egg-too-hot, expected one of {len(shipped_rules())}"),
        (
            "[machine.rules.humidity-low-alarm]\nlimit = 130",
            f"{OF_MACHINE}: humidity-low-alarm.limit: 130, expected a number from 0 to 100 (%RH)",
        ),
        (
            "[machine.rules.node-offline]\non_delay_s = 60",
            f"{OF_MACHINE}.node-offline: a rule of the whole site, expected it in [rules.node-offline]",
        ),
        ("[machine.rules]\nno-data = 5", "machine[1].rules.no-data: 5, expected a table"),
        ("rules = 5", "machine[1].rules: 5, expected a table"),
    ],
)  # fmt: skip
def test_a_machines_rules_that_cannot_be(write: Callable[..., Path], rules: str, complaint: str) -> None:
    """A machine's own numbers are checked at the start like the site's, each in one line that names the machine."""
    assert complaints(write(**{'name = "Setter 1"\n': f'name = "Setter 1"\n{rules}\n'})) == [complaint]


def test_a_machines_own_rules(write: Callable[..., Path]) -> None:
    """They stay the machine's: the site's rules are those of every other machine."""
    numbers = "[machine.rules.dry-bulb-high-warning]\nlimit = 38.0\non_delay_s = 240"
    site_own = "\n[rules.dry-bulb-high-warning]\non_delay_s = 180\n"
    site = load_house(write(site_own, **{'name = "Setter 1"\n': f'name = "Setter 1"\n{numbers}\n'})).site
    assert site.machines["setter-1"].rules == {"dry-bulb-high-warning": {"limit": 38.0, "on_delay_s": 240}}
    assert site.own_rules == {"dry-bulb-high-warning": {"on_delay_s": 180}}
    assert (site.rules["dry-bulb-high-warning"].on_delay_s, site.rules["dry-bulb-high-warning"].limit) == (180, None)


@pytest.mark.parametrize("zone", ["Europe/Nowhere", "", "Europe", "/etc/passwd", "../../etc/passwd"])
def test_a_zone_that_is_none(write: Callable[..., Path], zone: str) -> None:
    """What is no zone of the tz database is refused, whatever kind of nothing it is."""
    assert complaints(write(**{"Europe/Berlin": zone})) == [
        f"site.zone: {zone!r}, expected a zone of the tz database such as UTC"
    ]


def test_a_zone_that_is_mistyped(write: Callable[..., Path]) -> None:
    """The nearest by its town: the first half alone makes no zone near."""
    assert complaints(write(**{"Europe/Berlin": "Europe/Berln"}))[0].startswith(
        "site.zone: 'Europe/Berln', nearest Europe/Berlin, expected a zone"
    )


@pytest.mark.parametrize(
    ("kind", "said"),
    [
        ("seter", "'seter', nearest setter, expected 'setter', 'hatcher'"),
        ("oven", "'oven', expected 'setter', 'hatcher'"),
    ],
)
def test_a_word_that_is_one_of_a_few(write: Callable[..., Path], kind: str, said: str) -> None:
    """With the nearest, where one is near."""
    name = 'name = "Setter 1"\n'
    assert said in complaints(write(**{name: f'{name}kind = "{kind}"\n'}))[0]


def test_a_table_that_is_mistyped_has_its_line(tmp_path: Path) -> None:
    """The first of those that are written so."""
    path = tmp_path / "eggroom.toml"
    path.write_text("[site]\nid = 'a'\n\n[[contct]]\nid = 'me'\n[[contct]]\nid = 'you'\n", encoding="utf-8")
    with pytest.raises(SettingsError) as told:
        load_house(path)
    assert any(
        str(each).startswith(f"{path}: line 4: contct: unknown setting, nearest contact")
        for each in told.value.complaints
    )


@pytest.mark.parametrize(
    ("old", "new", "complaint"),
    [
        ("elevation_m = 500", "elevation_m = 9000", "site.elevation_m: 9000, expected less than or equal to 5500"),
        ("elevation_m = 500", "unit = 'K'", "site.unit: 'K', expected 'C' or 'F'"),
        ("elevation_m = 500", "settle_min = -1", "site.settle_min: -1, expected greater than or equal to 0"),
        ('id = "home"', "", "site.id: missing, expected a value"),
    ],
)
def test_a_site_that_cannot_be(write: Callable[..., Path], old: str, new: str, complaint: str) -> None:
    """What cannot be said of a site is one line."""
    assert complaints(write(**{old: new})) == [complaint]


@pytest.mark.parametrize("odd", ["nan", "inf", "-inf"])
@pytest.mark.parametrize(("old", "key"), [("elevation_m = 500", "elevation_m"), ("interval_s = 15", "interval_s")])
def test_a_number_that_is_none(write: Callable[..., Path], old: str, key: str, odd: str) -> None:
    """TOML knows NaN and infinity; no setting does."""
    (line,) = complaints(write(**{old: f"{key} = {odd}"}))
    assert f".{key}" in line.split(":")[0]
    assert f": {odd}, expected" in line


def test_every_complaint_is_told_at_once(write: Callable[..., Path]) -> None:
    """A file with several mistakes is told them all, so that it is mended in one go."""
    more = """
[[probe]]
node = "node-a"
probe = "top"
machine = "cellar"

[[contact]]
id = "sam"
url_file = "nothing-there"

[rules.no-such]
on_delay_s = 1
"""
    assert len(complaints(write(more, **{"Europe/Berlin": "Nowhere"}))) == 5


def test_an_address_file(write: Callable[..., Path], tmp_path: Path) -> None:
    """An address comes from a file beside the configuration; one that cannot be read, is no text or is empty is one line, and the
    address itself is in no message."""
    more = '\n[[contact]]\nid = "sam"\nurl_file = "address"\n'
    expected = "expected a file with one address"
    path = write(more)
    assert complaints(path) == [f"contact sam: url_file address: No such file or directory, {expected}"]
    address = tmp_path / "address"
    address.mkdir()
    assert complaints(path) == [f"contact sam: url_file address: Is a directory, {expected}"]
    address.rmdir()
    for content, reason in ((b"\xff", "not text"), (b" \n", "empty"), (b"", "empty")):
        address.write_bytes(content)
        assert complaints(path) == [f"contact sam: url_file address: {reason}, {expected}"]
    address.write_text("json://127.0.0.1/hook\n")
    house, (contact,) = load_house_and_contacts(path)
    assert contact.url == "json://127.0.0.1/hook"
    assert read_contacts(house.settings, path) == (contact,)


def test_an_address_of_a_priority(write: Callable[..., Path], tmp_path: Path) -> None:
    """A priority may have an address of its own, in a file too; what has none, and every end, goes to the contact's."""
    more = """
[[contact]]
id = "sam"
url = "json://127.0.0.1/own"
[contact.address.critical]
url_file = "loud"
"""
    path = write(more)
    expected = "expected a file with one address"
    assert complaints(path) == [f"contact sam: address.critical: url_file loud: No such file or directory, {expected}"]
    (tmp_path / "loud").write_text("json://127.0.0.1/loud\n")
    _, (contact,) = load_house_and_contacts(path)
    assert contact.url_for(notice(1, "critical")) == "json://127.0.0.1/loud"
    assert contact.url_for(notice(1, "high")) == contact.url_for(notice(1, "critical", closing=True)) == contact.url
    assert contact.addresses() == ("json://127.0.0.1/own", "json://127.0.0.1/loud")
    assert "json://" not in repr(contact)


@pytest.mark.parametrize(
    ("more", "expected"),
    [
        ("", Hearing("low", None, time(8))),
        ("from_priority = 'high'", Hearing("high", None, time(8))),
        ("summary = '19:05'", Hearing("low", None, time(19, 5))),
        ("summary = 19:05:00", Hearing("low", None, time(19, 5))),
        ("summary = 19:05:30.5", Hearing("low", None, time(19, 5))),
        ("hours = '07:00-22:30'", Hearing("low", (time(7), time(22, 30)), time(8))),
        ("hours = '16:00 - 02:00'", Hearing("low", (time(16), time(2)), time(16))),
    ],
)
def test_what_a_contact_hears(write: Callable[..., Path], more: str, expected: Hearing) -> None:
    """From which priority, in which hours, and when the summary comes: at 8, or when the hours begin where 8 is outside of them."""
    site = load_house(write(f"[[contact]]\nid = 'sam'\nurl = 'json://x'\n{more}\n")).site
    assert site.hearing_of("sam") == expected


def test_an_address_file_of_the_daemon_alone(write: Callable[..., Path]) -> None:
    """An account that may not read an address has the house all the same; only what needs the address is told who may not."""
    path = write('\n[[contact]]\nid = "sam"\nurl_file = "address"\n')
    with another_account() as (account, folder):
        path = path.rename(folder / path.name)
        (folder / "address").write_text("json://127.0.0.1/hook\n")
        (folder / "address").chmod(0o000)
        with account:
            assert load_house(path).site.contacts == ("sam",)
            (line,) = complaints(path)
    assert (
        line
        == f"contact sam: url_file address: {account.name} may not read it, expected an account that may; the daemon's must"
    )


OWN = """
id = "my-hen"
name = "My hen"
scientific_name = "Gallus gallus domesticus"
based_on = "chicken"

[[stage]]
name = "setter"
{band}
"""


def test_an_own_profile(write: Callable[..., Path], tmp_path: Path) -> None:
    """A breeder's own profile is read beside the configuration."""
    path = write(**{"elevation_m = 500": 'profiles = "own.toml"'})
    (tmp_path / "own.toml").write_text(OWN.format(band="dry_bulb_c.high_warning = 38.2"))
    assert load_house(path).site.profiles["my-hen"].stages[0].dry_bulb_c.high_warning == 38.2


@pytest.mark.parametrize(
    ("own", "complaint"),
    [
        (
            OWN.format(band="dry_bulb_c.high_warning = 36.0"),
            "own.toml: line 7: stage.setter.dry_bulb_c: target 37.8 above high_warning 36, expected low to high",
        ),
        (
            OWN.format(band="dry_bulb_c.high_alarm = 102"),
            "own.toml: line 7: stage.setter.dry_bulb_c.high_alarm: 102, expected",
        ),
        ("id = ", "own.toml: Invalid value"),
    ],
)
def test_an_own_profile_that_cannot_be(write: Callable[..., Path], tmp_path: Path, own: str, complaint: str) -> None:
    """An own profile with a band upside down, a value in another unit, or no TOML in it, is one line that names its file."""
    path = write(**{"elevation_m = 500": 'profiles = "own.toml"'})
    (tmp_path / "own.toml").write_text(own)
    (line,) = complaints(path)
    assert line.startswith(complaint)


def test_an_own_profile_that_is_not_there(write: Callable[..., Path]) -> None:
    """Own profiles that are named and missing are an error: the shipped ones are not taken in their place."""
    (line,) = complaints(write(**{"elevation_m = 500": 'profiles = "own.toml"'}))
    assert line.endswith("own.toml: no such file or folder, expected a TOML file or a folder of them")


def test_settings_are_read_without_looking_further(write: Callable[..., Path]) -> None:
    """Reading the file alone touches nothing that it points to."""
    settings: Settings = read_settings(write('\n[[contact]]\nid = "sam"\nurl_file = "nothing-there"\n'))
    assert settings.contact[0].url_file == Path("nothing-there")


def test_a_list_with_nothing_in_it() -> None:
    """A site without a machine or a probe is told to have one."""
    with pytest.raises(SettingsError) as raised:
        parse_settings({"site": {"id": "x"}, "machine": [], "probe": []}, "f")
    assert said_of(raised.value) == [f"f: {key}: [], expected at least one [[{key}]]" for key in ("machine", "probe")]


@pytest.mark.parametrize("table", [{"site": 5}, {"site": {"id": "x"}, "machine": [], "probe": []}, {"machine": "x"}])
def test_tables_of_the_wrong_kind(table: dict[str, Any]) -> None:
    """Values where tables should be, and empty lists, are refused in lines."""
    with pytest.raises(SettingsError) as raised:
        parse_settings(table, "f")
    assert all(line.startswith("f: ") and "\n" not in line for line in said_of(raised.value))


SWITCH = "[[switch]]\nnode = 'node-a'\nname = 'door'\nof = 'door'\nmachine = 'setter-1'\n"


def test_a_switch_is_of_a_node_that_has_a_probe(write: Callable[..., Path]) -> None:
    """It is known by node and name, and silent like the slowest probe of its node."""
    house = load_house(write(SWITCH))
    assert house.site.switches["node-a/door"] == Switch("node-a/door", "door", "setter-1", interval_s=15.0)
    assert house.site.doors == {"setter-1": (house.site.switches["node-a/door"],)}


@pytest.mark.parametrize(
    ("more", "complaint"),
    [
        (SWITCH + SWITCH, "switch node-a/door: named twice, expected each switch once"),
        (SWITCH.replace("'node-a'", "'node-x'"), "switch node-a/door".replace("-a", "-x") + ": node 'node-x', "),
        (SWITCH.replace("'setter-1'", "'setter-9'"), "switch node-a/door: machine 'setter-9', "),
        (
            SWITCH.replace("machine = 'setter-1'\n", ""),
            "switch node-a/door: machine missing, expected whose door it is",
        ),
        (
            SWITCH.replace("name = 'door'", "name = 'top/t'"),
            "switch node-a/top/t: name 'top/t', expected none that ends like a probe's",
        ),
        (SWITCH.replace("of = 'door'", "of = 'fan'"), "of: "),
        (
            SWITCH.replace("of = 'door'", "of = 'turning'").replace("machine = 'setter-1'\n", ""),
            "switch node-a/door: machine missing, expected whose turning it is",
        ),
    ],
)
def test_a_switch_that_cannot_be(write: Callable[..., Path], more: str, complaint: str) -> None:
    """Each slip is one line that names the switch."""
    (found,) = complaints(write(more))
    assert complaint in found


def test_no_package_is_asked_for_a_say_in_a_table() -> None:
    """pydantic would look through all that is installed for plugins, for which a start waits."""
    asked = "import sys; import importlib.metadata as m; m.distributions = lambda: sys.exit('asked')"
    read = "from monitor.adapters.tables.rules import shipped_rules; shipped_rules()"
    subprocess.run([sys.executable, "-c", f"{asked}; {read}"], check=True)


@pytest.mark.parametrize(
    ("slip", "said"),
    [
        ("[[probe]]\ninterval_s = 10,5\n", "line 2: more behind the value, expected one value; a number with a point, such as 10.5"),
        ('[site]\nid = "home\n', 'line 2: a quote without the one that ends it, expected a text between two quotes, such as "setter-1"'),
        ("[site]\nid = home\n", 'line 2: no value, expected a number, true, false, or a text between two quotes, such as "setter-1"'),
        ("[site]\nhome\n", 'line 2: words without a value, expected such as name = "setter-1"'),
        ("[site]\n[site]\n", "line 2: a table that stands above already, expected each once"),
        ("[site]\nid = 'a'\nid = 'b'\n", "line 3: what stands above already, expected each once"),
        ("[site]\n= 3\n", 'line 2: no setting, expected such as name = "setter-1", or a table, such as [site]'),
    ],
)  # fmt: skip
def test_slips_of_writing_are_told_in_plain_words(tmp_path: Path, slip: str, said: str) -> None:
    """By their line; a file that begins with the invisible mark of some editors is read as any other."""
    path = tmp_path / "eggroom.toml"
    for mark in ("", "\ufeff"):
        path.write_text(mark + slip, encoding="utf-8")
        with pytest.raises(SettingsError) as told:
            load_house(path)
        assert str(told.value) == f"{path}: {said}"
    path.write_text("\ufeff[sight]\n", encoding="utf-8")
    with pytest.raises(SettingsError) as told:
        load_house(path)
    assert any(str(each).startswith(f"{path}: line 1: sight: ") for each in told.value.complaints)
