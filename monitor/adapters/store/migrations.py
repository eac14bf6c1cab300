"""The tables, as numbered steps. A step is applied in one transaction with the record of itself. Once released it stays as
it is, so it takes nothing from the rest of the program, whose words move on.

Times are whole milliseconds since the epoch, UTC. A reading has no time of its own: its label is `line.offset_ms + up_ms`, so that
one row of `line` mends every label of a boot.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable

APPLICATION_ID = 0x65676772  # "eggr", in the file's header: what tells our record from another program's

_TABLES = (
    """CREATE TABLE migration (
        number INTEGER PRIMARY KEY,
        name TEXT NOT NULL,
        applied_ms INTEGER NOT NULL
    ) STRICT""",
    "CREATE TABLE probe (id INTEGER PRIMARY KEY, key TEXT NOT NULL UNIQUE) STRICT",
    """CREATE TABLE line (
        id INTEGER PRIMARY KEY,
        node TEXT NOT NULL,
        boot INTEGER NOT NULL,
        basis TEXT NOT NULL,
        from_up_ms INTEGER NOT NULL,
        offset_ms INTEGER NOT NULL,
        first_up_ms INTEGER NOT NULL,
        last_up_ms INTEGER NOT NULL,
        trusted INTEGER NOT NULL
    ) STRICT""",
    "CREATE INDEX line_by_node ON line (node)",
    "CREATE INDEX line_of_clock ON line (node) WHERE basis = 'clock'",
    # No foreign keys here: two look-ups a row on the hot path, against a mistake that the one writer does not make.
    # The key's order puts a probe's readings side by side, so a window of them is one seek.
    """CREATE TABLE reading (
        probe_id INTEGER NOT NULL,
        line_id INTEGER NOT NULL,
        up_ms INTEGER NOT NULL,
        dry_bulb_c REAL,
        rh_pct REAL,
        flag INTEGER NOT NULL,
        PRIMARY KEY (probe_id, line_id, up_ms)
    ) STRICT, WITHOUT ROWID""",
    """CREATE TABLE numbering (
        id INTEGER PRIMARY KEY,
        node TEXT NOT NULL,
        boot INTEGER NOT NULL,
        contiguous INTEGER NOT NULL,
        above TEXT NOT NULL,
        lost TEXT NOT NULL,
        UNIQUE (node, boot)
    ) STRICT""",
    """CREATE TABLE gap (
        node TEXT NOT NULL,
        boot INTEGER NOT NULL,
        first_seq INTEGER NOT NULL,
        last_seq INTEGER NOT NULL,
        lost INTEGER NOT NULL,
        PRIMARY KEY (node, boot, first_seq)
    ) STRICT, WITHOUT ROWID""",
    # The oldest are deleted, the newest never: the highest id is how many there ever were.
    """CREATE TABLE refused (
        id INTEGER PRIMARY KEY,
        at_ms INTEGER NOT NULL,
        topic TEXT NOT NULL,
        payload BLOB NOT NULL,
        reason TEXT NOT NULL
    ) STRICT""",
    """CREATE TABLE unknown (
        probe TEXT PRIMARY KEY,
        first_ms INTEGER NOT NULL,
        last_ms INTEGER NOT NULL,
        count INTEGER NOT NULL,
        dry_bulb_c REAL,
        rh_pct REAL
    ) STRICT""",
    """CREATE TABLE batch (
        number INTEGER PRIMARY KEY,
        id TEXT NOT NULL UNIQUE,
        profile TEXT NOT NULL,
        set_ms INTEGER NOT NULL,
        eggs INTEGER,
        note TEXT NOT NULL,
        closed_ms INTEGER
    ) STRICT""",
    """CREATE TABLE stay (
        batch TEXT NOT NULL REFERENCES batch (id),
        place INTEGER NOT NULL,
        machine TEXT NOT NULL,
        since_ms INTEGER NOT NULL,
        until_ms INTEGER,
        PRIMARY KEY (batch, place)
    ) STRICT, WITHOUT ROWID""",
    """CREATE TABLE declared (
        batch TEXT NOT NULL REFERENCES batch (id),
        place INTEGER NOT NULL,
        stage TEXT NOT NULL,
        at_ms INTEGER NOT NULL,
        PRIMARY KEY (batch, place)
    ) STRICT, WITHOUT ROWID""",
    # Append-only. Each row holds every fact of its alarm, so the last one restores it. The mono columns are seconds and
    # milliseconds of the forward clock of the run that wrote the row; another run's clock starts elsewhere.
    """CREATE TABLE transition (
        id INTEGER PRIMARY KEY,
        at_ms INTEGER NOT NULL,
        mono_ms INTEGER NOT NULL,
        subject TEXT NOT NULL,
        rule TEXT NOT NULL,
        number INTEGER NOT NULL,
        episode INTEGER NOT NULL,
        state_before TEXT NOT NULL,
        state TEXT NOT NULL,
        cause TEXT NOT NULL,
        who TEXT NOT NULL,
        condition INTEGER NOT NULL,
        acknowledged INTEGER NOT NULL,
        latched INTEGER NOT NULL,
        shelved_until_ms INTEGER,
        shelved_until_mono_s REAL,
        suppressed TEXT NOT NULL,
        out_of_service INTEGER NOT NULL,
        since_ms INTEGER,
        ended_ms INTEGER,
        value REAL,
        worst REAL,
        "limit" REAL,
        about TEXT NOT NULL,
        told INTEGER NOT NULL,
        asked_mono_s REAL
    ) STRICT""",
    "CREATE INDEX transition_by_subject ON transition (subject)",
    """CREATE TABLE alarm (
        subject TEXT NOT NULL,
        rule TEXT NOT NULL,
        transition_id INTEGER NOT NULL REFERENCES transition (id),
        PRIMARY KEY (subject, rule)
    ) STRICT, WITHOUT ROWID""",
    # The outbox. attempts, last_detail and last_ms say what came of it; when the next try is due is the dispatcher's affair.
    """CREATE TABLE notice (
        id INTEGER PRIMARY KEY,
        dedupe TEXT NOT NULL UNIQUE,
        contact TEXT NOT NULL,
        priority TEXT NOT NULL,
        title TEXT NOT NULL,
        text TEXT NOT NULL,
        created_ms INTEGER NOT NULL,
        alarm_number INTEGER NOT NULL,
        closing INTEGER NOT NULL,
        link TEXT NOT NULL,
        state TEXT NOT NULL DEFAULT 'waiting' CHECK (state IN ('waiting', 'sent', 'failed', 'cancelled')),
        attempts INTEGER NOT NULL DEFAULT 0,
        last_detail TEXT NOT NULL DEFAULT '',
        last_ms INTEGER
    ) STRICT""",
    "CREATE INDEX notice_waiting ON notice (id) WHERE state = 'waiting'",
    """CREATE TABLE attempt (
        id INTEGER PRIMARY KEY,
        notice INTEGER NOT NULL REFERENCES notice (id),
        outcome TEXT NOT NULL,
        detail TEXT NOT NULL,
        at_ms INTEGER NOT NULL,
        contact TEXT NOT NULL
    ) STRICT""",
    """CREATE TABLE event (
        id INTEGER PRIMARY KEY,
        at_ms INTEGER NOT NULL,
        kind TEXT NOT NULL,
        subject TEXT NOT NULL,
        text TEXT NOT NULL
    ) STRICT""",
    "CREATE INDEX event_by_time ON event (at_ms)",
)


# Nullable: to fill it in for years of rows would hold up a start by minutes. NULL is a row of before, see RH_FLAG in `history`.
_QUALITY = (
    "ALTER TABLE reading ADD COLUMN rh_flag INTEGER",
    """CREATE TABLE calibration (
        id INTEGER PRIMARY KEY,
        probe TEXT NOT NULL,
        at_ms INTEGER NOT NULL,
        since_ms INTEGER,
        due_ms INTEGER,
        who TEXT NOT NULL,
        note TEXT NOT NULL,
        dry_bulb TEXT,
        humidity TEXT
    ) STRICT""",
    # Each handling there was; `stands` marks the one that a machine is under now.
    """CREATE TABLE handling (
        machine TEXT NOT NULL,
        since_ms INTEGER NOT NULL,
        until_ms INTEGER NOT NULL,
        who TEXT NOT NULL,
        stands INTEGER NOT NULL,
        PRIMARY KEY (machine, since_ms)
    ) STRICT, WITHOUT ROWID""",
    # Bytes, so that a damaged one can be read, found out and dropped like any other that is not understood.
    "CREATE TABLE memory (id INTEGER PRIMARY KEY CHECK (id = 1), json BLOB NOT NULL) STRICT",
)


# No foreign key: where a damaged record has lost its batches, the book is still there for who adds the batch again.
_EGG_BOOK = """CREATE TABLE entry (
        batch TEXT NOT NULL,
        number INTEGER NOT NULL,
        at_ms INTEGER NOT NULL,
        written_ms INTEGER NOT NULL,
        who TEXT NOT NULL,
        kind TEXT NOT NULL,
        fact TEXT NOT NULL,
        egg INTEGER,
        count INTEGER,
        tray TEXT NOT NULL,
        replaces INTEGER,
        PRIMARY KEY (batch, number)
    ) STRICT, WITHOUT ROWID"""


def _first_tables(connection: sqlite3.Connection) -> None:
    connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    for table in _TABLES:
        connection.execute(table)


def _quality(connection: sqlite3.Connection) -> None:
    for statement in _QUALITY:
        connection.execute(statement)


def _egg_book(connection: sqlite3.Connection) -> None:
    connection.execute(_EGG_BOOK)


def _egg_numbers(connection: sqlite3.Connection) -> None:
    # A list of whole numbers as JSON; NULL: 1 to as many as were set.
    connection.execute("ALTER TABLE batch ADD COLUMN numbers TEXT")
    connection.execute("ALTER TABLE batch ADD COLUMN split_from TEXT")


def _notice_facts(connection: sqlite3.Connection) -> None:
    # What a notice tells, as JSON, for one that a restart finds unsent. NULL: of before, or about no alarm; it has its words alone.
    connection.execute("ALTER TABLE notice ADD COLUMN facts TEXT")


def _about_facts(connection: sqlite3.Connection) -> None:
    # What an alarm is about, as JSON, beside its words. NULL: of before, or about a quantity; then the words are all there is.
    connection.execute("ALTER TABLE transition ADD COLUMN about_facts TEXT")


def _seen_of_doors(connection: sqlite3.Connection) -> None:
    # What was seen of a door, as JSON, beside its words. NULL: of any other event, and of before; then its words are read.
    connection.execute("ALTER TABLE event ADD COLUMN seen TEXT")


def _chores(connection: sqlite3.Connection) -> None:
    # What is done once a day, by the local date (YYYY-MM-DD): a restart, or a clock that is set back, must not do it twice.
    connection.execute(
        """CREATE TABLE chore (
            id INTEGER PRIMARY KEY,
            name TEXT NOT NULL,
            local_date TEXT NOT NULL,
            at_ms INTEGER NOT NULL,
            UNIQUE (name, local_date)
        ) STRICT"""
    )


def _out_of_service(connection: sqlite3.Connection) -> None:
    # When an alarm comes back into service by itself. NULL: of before, or when a person puts it back.
    connection.execute("ALTER TABLE transition ADD COLUMN out_until_ms INTEGER")


def _coolings(connection: sqlite3.Connection) -> None:
    # Each cooling that was declared for every day: of a batch or a machine, its hours as minutes after midnight of the house's clock (JSON).
    # until_ms: NULL of the one that stands.
    connection.execute(
        """CREATE TABLE cooling (
            subject TEXT NOT NULL,
            since_ms INTEGER NOT NULL,
            at_min TEXT NOT NULL,
            for_s REAL NOT NULL,
            to_c REAL,
            first_day INTEGER,
            last_day INTEGER,
            who TEXT NOT NULL,
            until_ms INTEGER,
            PRIMARY KEY (subject, since_ms)
        ) STRICT, WITHOUT ROWID"""
    )


def _sites(connection: sqlite3.Connection) -> None:
    # What looked at which machine (JSON), from when on. since_ms: NULL of the first, which stands for all that was before.
    connection.execute("CREATE TABLE site (id INTEGER PRIMARY KEY, since_ms INTEGER, json TEXT NOT NULL) STRICT")


def _outs(connection: sqlite3.Connection) -> None:
    # Each probe and machine that was out of service. until_ms: NULL where a person was to put it back. ended_ms: NULL of what is out now.
    connection.execute(
        """CREATE TABLE out (
            subject TEXT NOT NULL,
            since_ms INTEGER NOT NULL,
            until_ms INTEGER,
            who TEXT NOT NULL,
            ended_ms INTEGER,
            PRIMARY KEY (subject, since_ms)
        ) STRICT, WITHOUT ROWID"""
    )


def _files(connection: sqlite3.Connection) -> None:
    # What was put beside entries of the egg book, each content once; an entry names it by its SHA-256.
    connection.execute(
        "CREATE TABLE file (id INTEGER PRIMARY KEY, sha256 TEXT NOT NULL UNIQUE, content BLOB NOT NULL) STRICT"
    )


def _revision(connection: sqlite3.Connection) -> None:
    # How often anything was changed of what stands in a second file too.
    connection.execute("CREATE TABLE revision (id INTEGER PRIMARY KEY CHECK (id = 1), number INTEGER NOT NULL) STRICT")
    connection.execute("INSERT INTO revision (id, number) VALUES (1, 0)")


MIGRATIONS: tuple[tuple[str, Callable[[sqlite3.Connection], None]], ...] = (
    ("first tables", _first_tables),
    ("quality, calibration, handling, memory", _quality),
    ("egg book", _egg_book),
    ("numbers on eggs", _egg_numbers),
    ("facts of notices", _notice_facts),
    ("facts of alarms", _about_facts),
    ("facts of openings", _seen_of_doors),
    ("chores of the day", _chores),
    ("an end out of service", _out_of_service),
    ("cooling of each day", _coolings),
    ("site as it was", _sites),
    ("probes and machines out of service", _outs),
    ("files beside entries", _files),
    ("count of changes", _revision),
)
VERSION = len(MIGRATIONS)


def migrate(
    connection: sqlite3.Connection,
    steps: tuple[tuple[str, Callable[[sqlite3.Connection], None]], ...] = MIGRATIONS,
) -> None:
    """Bring the database to the newest version, step by step; a step that fails leaves it at the version before."""
    (version,) = connection.execute("PRAGMA user_version").fetchone()
    for number, (name, step) in enumerate(steps, start=1):
        if number <= version:
            continue
        connection.execute("BEGIN IMMEDIATE")
        try:
            step(connection)
            # SQLite's own clock: a note for people, on which nothing depends.
            connection.execute(
                "INSERT INTO migration (number, name, applied_ms) VALUES (?, ?, unixepoch() * 1000)", (number, name)
            )
            connection.execute(f"PRAGMA user_version = {number}")
            connection.execute("COMMIT")
        except BaseException:
            if connection.in_transaction:
                connection.execute("ROLLBACK")
            raise
