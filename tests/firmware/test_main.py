"""The wiring for the board, under real MicroPython with stand-ins for the board's own modules (no board was used)."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

from tests.firmware.port import Broker, start_node, wait_until
from tests.firmware.test_process import QUICK, Listener

FAKE_BOARD = Path(__file__).parent / "fake_board"
BOARD: dict[str, Any] = QUICK | {
    "BOARD": "esp32",
    "INTERVAL_MS": 1500,
    "WIFI_NAME": "barn",
    "PROBES": (("top", "sht4x", 0x44), ("egg", "ds18b20", "28139bbb0b00001f"), ("low", "sht3x", 0x45)),
    "SWITCHES": (("door", 32, 1), ("water", 33, 0)),
    "BATTERY_PIN": 35,
}


def test_a_board_with_real_drivers() -> None:
    """Wi-Fi, bus, probes, clock, watchdog and buzzer pin are wired: frames become readings, an absent probe a fault."""
    with Broker() as broker, Listener(broker.port) as listener:
        with start_node(
            broker.port, "barn", "node-a", path=(FAKE_BOARD,), **BOARD, CLOCK=True, NTP_HOST="10.0.0.1", ALIVE_MS=2000
        ) as node:
            listener.wait_for_seq(1)
            wait_until(lambda: "pin 25 level=1" in node.log(), 10, node.log())
            wait_until(lambda: "watchdog fed" in node.log(), 10, node.log())
            log = node.log().splitlines()
        pack = listener.heard("eggroom/barn/node-a/air")[0].pack
    assert [(record["n"], record.get("v", record.get("vs", record.get("vb")))) for record in pack] == [
        ("top/t", 37.5),
        ("top/rh", 55),
        ("egg/t", 37.5),
        ("low/fault", "bus"),
        ("door", False),
        ("water", True),
        ("battery", 3.9),  # of the first sample, when it had not joined the Wi-Fi yet
    ]
    assert abs(pack[0]["bt"] - time.time()) < 15
    for line in (
        "i2c scl=22 sda=21",
        "pin 32 mode=in value=None",
        "wire found rom=28139bbb0b00001f",
        "pin 25 mode=out value=0",
        "wifi asked name=barn",
        "clock set host=10.0.0.1",
        "watchdog timeout=60000",
    ):
        assert line in log, (line, log)
    assert log.index("watchdog timeout=60000") > log.index("wire found rom=28139bbb0b00001f")


def test_a_file_in_place_of_a_contact(tmp_path: Path) -> None:
    """Without a board a file holds the level of a pin; one that is not there is level 0, as one that holds it, whichever of both is true."""
    (tmp_path / "high").write_text("1\n")
    (tmp_path / "low").write_text("0\n")
    at = [(name, true_at) for name in ("high", "low", "none") for true_at in (0, 1)]
    switches = tuple((f"{name}-{true_at}", str(tmp_path / name), true_at) for name, true_at in at)
    settings: dict[str, Any] = QUICK | {"SWITCHES": switches}
    with Broker() as broker, Listener(broker.port) as listener:
        with start_node(broker.port, "barn", "node-a", **settings):
            listener.wait_for_seq(0)
        pack = listener.heard("eggroom/barn/node-a/air")[0].pack
    said = {record["n"]: record["vb"] for record in pack if "vb" in record}
    assert said == {"high-0": False, "high-1": True, "low-0": True, "low-1": False, "none-0": True, "none-1": False}


def test_our_own_mistake_restarts_the_board() -> None:
    """An error nobody expected is written out, and the board is reset rather than left standing."""
    probes = (("top", "scripted", ((37500, None, "a fault that is not in the list"),)),)
    with (
        Broker() as broker,
        start_node(broker.port, "barn", "node-a", path=(FAKE_BOARD,), **(BOARD | {"PROBES": probes})) as node,
    ):
        assert node.wait(10) == 0
        assert "Traceback" in node.log()
        assert node.log().splitlines()[-1] == "board reset"
