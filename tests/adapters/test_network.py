"""What this machine knows of its own network."""

from __future__ import annotations

from pathlib import Path

import pytest

from monitor.adapters.network import network_up, runs_here


@pytest.mark.parametrize(
    ("states", "up"),
    [
        ({"eth0": "up"}, True),
        ({"eth0": "down", "wlan0": "up"}, True),
        ({"eth0": "down", "wlan0": "down"}, False),
        ({"wlan0": "lowerlayerdown"}, False),
        ({"usb0": "unknown"}, True),  # a driver that does not say
        ({}, True),
    ],
)
def test_the_network_is_gone_when_no_interface_is_up(tmp_path: Path, states: dict[str, str], up: bool) -> None:
    """Of its real interfaces; the loop is none, nor is what has no device behind it."""
    for name, state in {**states, "lo": "up", "docker0": "up"}.items():
        (tmp_path / name).mkdir()
        (tmp_path / name / "operstate").write_text(f"{state}\n")
        if name in states:
            (tmp_path / name / "device").mkdir()
    assert network_up(tmp_path) is up


def test_what_cannot_be_told_is_no_fault(tmp_path: Path) -> None:
    """A machine without such a folder is taken to have its network."""
    assert network_up(tmp_path / "none")


@pytest.mark.parametrize(
    ("host", "here"),
    [("127.0.0.1", True), ("::1", True), ("localhost", True), ("192.168.1.5", False), ("broker.lan", False)],
)
def test_where_a_broker_runs(host: str, here: bool) -> None:
    """By its address."""
    assert runs_here(host) is here
