"""What is said to whoever supervises the process: systemd's own words, sent to the socket that it names (sd_notify(3)); to nobody without one."""

from __future__ import annotations

import contextlib
import os
import socket

READY, MOVES, STOPPING = "READY=1", "WATCHDOG=1", "STOPPING=1"


def say(what: str) -> None:
    """Say it, never waiting; whoever does not listen is told nothing."""
    name = os.environ.get("NOTIFY_SOCKET", "")
    if not name:
        return
    address = f"\0{name[1:]}" if name.startswith("@") else name
    with contextlib.suppress(OSError), socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as supervisor:
        supervisor.setblocking(False)
        supervisor.sendto(what.encode(), address)
