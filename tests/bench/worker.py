"""The daemon as it is, in a process that lets the bench look in: after each decision, and each time receipts were given.

    python -m tests.bench.worker CONFIG [SLOW_FLUSH_S]

SLOW_FLUSH_S: each commit takes so much longer, as on a slow card. The wait stands in front of the commit, on the thread that
commits; nothing else is held up by it, as nothing but the committing thread waits for a disk.
"""

from __future__ import annotations

import os
import signal
import sys
import threading
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import monitor.service.watch.engine as engine
from monitor import app
from monitor.adapters.link.mqtt import MqttLink
from monitor.adapters.store.ledger import SqliteLedger
from monitor.domain.state.known import Look
from monitor.domain.watch import evaluate
from monitor.settings import load_house
from tests.bench.watch import Watch, say


def look_into(watch: Watch, slow_flush_s: float) -> None:
    """Wrap the three places."""
    hear, acknowledge, commit = evaluate.hear, MqttLink.acknowledge, SqliteLedger.commit

    def heard(look: Look, message: Any) -> None:
        hear(look, message)
        watch.decided(message.node, getattr(message, "seq", -1))

    def acknowledged(self: MqttLink, receipts: Sequence[Any]) -> None:
        acknowledge(self, receipts)
        watch.acknowledged(len(receipts))

    def slowly(self: SqliteLedger, group: Any) -> None:
        time.sleep(slow_flush_s)
        commit(self, group)

    engine.hear = heard  # type: ignore[attr-defined]
    MqttLink.acknowledge = acknowledged  # type: ignore[method-assign]
    if slow_flush_s:
        SqliteLedger.commit = slowly  # type: ignore[method-assign]


def main() -> int:
    """See the module."""
    watch = Watch()
    look_into(watch, float(sys.argv[2]) if len(sys.argv) > 2 else 0.0)
    house = load_house(Path(sys.argv[1]))
    app.start_logging()

    def serve() -> None:
        say("ready")
        watch.serve()
        os.kill(os.getpid(), signal.SIGTERM)

    threading.Thread(target=serve, daemon=True).start()
    return app.run(house)


if __name__ == "__main__":
    sys.exit(main())
