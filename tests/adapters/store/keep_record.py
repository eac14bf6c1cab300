"""`python -m tests.adapters.store.keep_record`: keep a record made by this version of the tables, if there is none yet."""

from __future__ import annotations

import gzip
import tempfile
from dataclasses import replace
from pathlib import Path

from monitor.adapters.store.connection import open_writer
from monitor.adapters.store.ledger import SqliteLedger, backup
from monitor.adapters.store.migrations import VERSION
from monitor.domain.state.record import Group
from tests.adapters.store.test_kept_records import KEPT
from tests.ports import BATCH, FACTS, entry, full_group


def main() -> None:
    kept = KEPT / f"record-{VERSION}.db.gz"
    if kept.exists():
        raise SystemExit(f"{kept}: there already, and never made again")
    split = replace(BATCH, id="other", eggs=3, numbers=(3, 4, 7), split_from=BATCH.id)
    with tempfile.TemporaryDirectory() as folder:
        record, copy = Path(folder) / "eggroom.db", Path(folder) / "copy.db"
        opened = open_writer(record)
        ledger = SqliteLedger(opened.connection)
        ledger.commit(full_group())
        facts = [("other", entry(number, fact)) for number, fact in enumerate(FACTS, 1)]
        ledger.commit(Group(batches={"other": split}, entries=facts))
        backup(record, copy)
        opened.close()
        kept.write_bytes(gzip.compress(copy.read_bytes(), 9, mtime=0))
    print(kept)


if __name__ == "__main__":
    main()
