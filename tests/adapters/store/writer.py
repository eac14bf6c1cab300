"""A process that writes numbered groups until it is killed, and says the number of each once its commit has returned."""

from __future__ import annotations

import sys
from pathlib import Path

from monitor.adapters.store.connection import open_writer
from monitor.adapters.store.ledger import SqliteLedger
from monitor.domain.state.record import Event, Group
from tests.ports import at, line, notice, raised, reading

PROBES = ("node-a/top", "node-a/low", "node-a/mid")


def numbered_group(number: int) -> Group:
    """Group `number`: a reading of each probe, a notice, a transition and an event, all of which tell its number."""
    return Group(
        readings=[reading(number, probe=probe) for probe in PROBES],
        lines={1: line(last_up_ms=number * 1000)},
        notices=[notice(number)],
        transitions=[raised(number)],
        events=[Event(at(number), "test", "node-a", str(number))],
    )


def main() -> None:
    opened = open_writer(Path(sys.argv[1]))
    if opened.damaged is not None:
        raise SystemExit(repr(opened.damaged))
    ledger = SqliteLedger(opened.connection)
    number = ledger.load().last_notice
    while True:
        number += 1
        ledger.commit(numbered_group(number))
        print(number, flush=True)


if __name__ == "__main__":
    main()
