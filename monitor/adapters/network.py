"""What this machine knows of its own network, without asking anybody."""

from __future__ import annotations

import ipaddress
from pathlib import Path

_INTERFACES = Path("/sys/class/net")
# A tunnel, a bridge and the like may not know; what is "down" or has no carrier does.
_GONE = ("down", "lowerlayerdown", "notpresent")


def network_up(interfaces: Path = _INTERFACES) -> bool:
    """Whether any network interface of this machine is up, apart from its own loop; True where that cannot be told."""
    try:
        states = [
            (each / "operstate").read_text().strip()
            for each in interfaces.iterdir()
            if each.name != "lo" and (each / "device").exists()
        ]
    except OSError:
        return True
    return not states or any(state not in _GONE for state in states)


def runs_here(host: str) -> bool:
    """Whether a host, by name or address, is this machine itself."""
    if host.lower() == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False
