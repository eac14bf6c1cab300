"""A file of rules to be tried: what of it stands over the house's own, and what it says of one that is wrong."""

from __future__ import annotations

from pathlib import Path

import pytest

from monitor.rehearse.tried_rules import with_rules
from monitor.settings import SettingsError, load_house

STREAMS = Path(__file__).parents[2] / "demo_streams"


def test_the_files_numbers_stand_over_the_houses(tmp_path: Path) -> None:
    """A number of the file replaces the house's own of that rule, its other numbers stay, the site's and a machine's."""
    base = (STREAMS / "heater-stuck-on.toml").read_text()
    config = tmp_path / "house.toml"
    config.write_text(base + "\n[rules.dry-bulb-high-alarm]\non_delay_s = 40\noff_delay_s = 70\n")
    rules = tmp_path / "rules.toml"
    rules.write_text(
        "[rules.dry-bulb-high-alarm]\non_delay_s = 50\n[machine.setter-2.rules.dry-bulb-high-alarm]\ndeadband = 0.5\n"
    )
    house = load_house(config)
    other = with_rules(house, rules)
    made = other.site.rules["dry-bulb-high-alarm"]
    assert (made.on_delay_s, made.off_delay_s) == (50, 70)
    assert other.site.machines["setter-2"].rules == {"dry-bulb-high-alarm": {"deadband": 0.5}}
    assert house.site.rules["dry-bulb-high-alarm"].on_delay_s == 40


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("", "no rules, expected [rules.NAME] or [machine.ID.rules.NAME]"),
        ("[rules", "expected TOML"),
        ("# \udcff", "line 1: bytes that are not UTF-8, expected text"),
        ("[rule.dry-bulb-high-alarm]\n", "rule: unknown setting, nearest rules, expected one of: machine, rules"),
        ("rules = 3\n", "rules: 3, expected a table"),
        ("[rules]\ndry-bulb-high-alarm = 3\n", "rules.dry-bulb-high-alarm: 3, expected a table"),
        (
            "[rules.too-hot]\non_delay_s = 3\n",
            "rules.too-hot: no such rule, nearest egg-too-hot, expected one of 40",
        ),
        ("[rules.dry-bulb-high-alarm]\nwords = 'x'\n", "dry-bulb-high-alarm.words: unknown setting, expected one of: "),
        ("[rules.dry-bulb-high-alarm]\non_delay_s = -1\n", "dry-bulb-high-alarm.on_delay_s: -1, expected a number"),
        (
            "[rules.dry-bulb-high-alarm]\nlimit = 102.0\n",
            "dry-bulb-high-alarm.limit: 102.0, expected a number from 20 to 45",
        ),
        ("[machine.x.rules.no-data]\non_delay_s = 3\n", "machine.x: no such machine, expected one of: "),
        (
            "[machine.setter-2]\nname = 'x'\n",
            "machine.setter-2.name: unknown setting, expected one of: rules",
        ),
        (
            "[machine.setter-2]\n[rules.no-data]\non_delay_s = 300\n",
            "machine.setter-2: no rules, expected [machine.setter-2.rules.NAME]",
        ),
        ("[[machine]]\nid = 'x'\n", "machine: a list, expected a table"),
        (
            "[machine.setter-2.rules.all-silent]\non_delay_s = 3\n",
            "machine.setter-2.rules.all-silent: a rule of the whole site, expected it in [rules.all-silent]",
        ),
    ],
)
def test_rules_that_cannot_be_used_say_where(tmp_path: Path, text: str, complaint: str) -> None:
    """A file that is wrong is one line: file, where, what came, what was expected."""
    rules = tmp_path / "rules.toml"
    rules.write_text(text, errors="surrogateescape")
    with pytest.raises(SettingsError) as caught:
        with_rules(load_house(STREAMS / "heater-stuck-on.toml"), rules)
    (line,) = map(str, caught.value.complaints)
    assert line.startswith(f"{rules}: ")
    assert complaint in line
    assert "\n" not in line


def test_rules_that_are_not_there(tmp_path: Path) -> None:
    """A file that cannot be read is one line too."""
    with pytest.raises(SettingsError, match="No such file or directory, expected a file of rules"):
        with_rules(load_house(STREAMS / "heater-stuck-on.toml"), tmp_path / "none.toml")
