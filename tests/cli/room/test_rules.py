"""`eggroom rules` and `eggroom profiles`."""

from __future__ import annotations

from pathlib import Path

from tests.cli.commands import Capture, ok, told
from tests.running import configure, set_days_ago, typed


def test_profiles(capsys: Capture, tmp_path: Path) -> None:
    """`profiles` lists the species, one of them with its sources; --own adds the breeder's."""
    assert "chicken " in ok(capsys, "profiles", config=None)
    one = told(capsys, "profiles", "chicken", config=None)
    assert one["lockdown_day"] == 18
    assert [stage["name"] for stage in one["stages"]] == ["setter", "lockdown"]
    assert one["sources"]["stage.setter.dry_bulb_c.high_alarm"] == "MSU-HMG"
    assert "MSU-HMG" in ok(capsys, "profiles", "chicken", config=None)
    own = tmp_path / "own.toml"
    own.write_text('id = "my-line"\nbased_on = "chicken"\nlockdown_day = 17.5\n')
    assert told(capsys, "profiles", "my-line", "--own", str(own), config=None)["lockdown_day"] == 17.5


def test_rules(capsys: Capture, tmp_path: Path) -> None:
    """`rules` shows what is in force for each machine, or for one, with the eggs in it, and whose number each is."""
    own = {"dry-bulb-low-alarm": {"on_delay_s": 120}, "node-offline": {"re_alarm_s": 600}}
    config = configure(tmp_path, 1, rules=own, site={"profiles": "own.toml"})
    line = 'id = "my-line"\nbased_on = "chicken"\n[rules.dry-bulb-low-alarm]\ndeadband = 0.1\n'
    (tmp_path / "own.toml").write_text(line, encoding="utf-8")
    add = ["batch", "add", "hen-1", "--species", "my-line", "--machine", "setter-1", "--set", set_days_ago(5)]
    ok(capsys, *add, config=config)
    assert (
        told(capsys, "profiles", "my-line", config=config)["id"] == "my-line"
    )  # the house's own are known without being asked for
    view = told(capsys, "rules", config=config)
    assert [machine["machine"] for machine in view["machines"]] == ["setter-1", "hatcher-1"]
    rules = {row["rule"]: row for row in view["machines"][0]["rules"]}
    heat, cold = rules["dry-bulb-high-alarm"], rules["dry-bulb-low-alarm"]
    assert (heat["priority"], heat["limit"], heat["limit_from"]) == ("high", 38.9, ["hen-1"])
    assert (rules["dry-bulb-lethal"]["priority"], rules["dry-bulb-lethal"]["limit"]) == ("critical", 40.6)
    assert (cold["origins"]["on_delay_s"], cold["origins"]["deadband"]) == ("site", "profile my-line")
    assert {row["rule"] for row in view["site"]} == {
        "node-offline",
        "node-restarts",
        "all-silent",
        "mains-lost",
        "switch-doubtful",
        "record-damaged",
        "was-away",
        "not-recorded",
        "keeps-stopping",
    }
    text = ok(capsys, "rules", "setter-1", config=config)
    assert "Setter 1 (hen-1)" in text
    assert "Hatcher 1" not in text
    assert "on: site" in text
    assert "dead: profile my-line" in text
    code, out, err = typed(capsys, "rules", "cellar", config=config)
    assert (code, out) == (2, "")
    assert err == "eggroom: machine 'cellar': no such machine, expected one of: setter-1, hatcher-1\n"
    shown = ok(capsys, "profiles", "my-line", "--own", str(tmp_path / "own.toml"), config=None)
    assert "dry-bulb-low-alarm       deadband         0.1      own" in shown
