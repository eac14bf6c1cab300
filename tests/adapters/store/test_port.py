"""The record in memory and the SQLite store pass the same suite; so what is tested with the one holds with the other."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.adapters.store.connection import Opened, open_reader, open_writer
from monitor.adapters.store.history import SqliteHistory
from monitor.adapters.store.ledger import SqliteLedger
from monitor.domain.state.record import Group
from monitor.service.ports import BatchRecord
from tests.fakes import MemoryStore
from tests.ports import STAYING, BatchRecordSuite, Record, RecordSuite, Telling


class _File:
    """A SQLite record that can be closed and opened again."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._opened: Opened | None = None
        self._history: SqliteHistory | None = None

    def open(self) -> Record:
        self.close()
        self._opened = open_writer(self._path)
        self._history = SqliteHistory(open_reader(self._path))
        return Record(SqliteLedger(self._opened.connection), self._history, self.open)

    def close(self) -> None:
        if self._history is not None:
            self._history.close()
        if self._opened is not None:
            self._opened.close()


def _in_memory() -> Record:
    store = MemoryStore()
    record = Record(store, store, lambda: record)
    return record


class TestRecord(RecordSuite):
    @pytest.fixture(params=["memory", "sqlite"])
    def record(self, request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Record]:
        if request.param == "memory":
            yield _in_memory()
            return
        file = _File(tmp_path / "eggroom.db")
        yield file.open()
        file.close()


class TestBatchRecord(BatchRecordSuite):
    @pytest.fixture(params=["memory", "sqlite"])
    def told(self, request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Telling]:
        file = _File(tmp_path / "eggroom.db")
        record = _in_memory() if request.param == "memory" else file.open()

        def tell(*groups: Group) -> BatchRecord:
            for group in (Group(batches={STAYING.id: STAYING}), *groups):
                record.ledger.commit(group)
            return record.history

        yield tell
        file.close()
