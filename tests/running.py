"""The daemon as a real process, what a person would type to it, and a node's voice: for the tests that run the whole house.

with Mosquitto() as broker:
    config = configure(tmp_path, broker.port, contact=phone.url())
    with Running(config) as daemon, Node(broker.port) as node:
        node.send(39.5); daemon.ask(do="room"); eggroom("alarms", config=config); daemon.terminate()
"""

from __future__ import annotations

import contextlib
import json
import os
import pwd
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from monitor.adapters.door import DoorClosed, ask_door
from monitor.cli.main import main
from tests.receivers import eventually

ROOT = Path(__file__).resolve().parents[1]
SITE = "home"
READY_S = 20.0  # two shared cores may be busy with other tests
NOBODY = 65_534  # the account without any right, on every Linux
STOP_S = 10.0  # what is promised of SIGTERM
QUICK = {"on_delay_s": 0, "off_delay_s": 0}  # an alarm comes with the first judged reading


def configure(
    folder: Path,
    port: int,
    *,
    contact: str = "",
    rules: Mapping[str, Mapping[str, Any]] | None = None,
    site: Mapping[str, Any] | None = None,
    machines: Sequence[str] = ("setter-1", "hatcher-1"),
    more: str = "",
) -> Path:
    """A configuration file in the folder: machine i is watched by node-<letter i>, probe top, which may be silent for long.

    rules: their numbers, by id. site: further settings of [site]. more: text for the end of the file.
    """
    tables = [("[site]", {"id": SITE, "data": "record"} | dict(site or {})), ("[broker]", {"port": port})]
    for place, machine in enumerate(machines):
        kind = machine.partition("-")[0]
        tables.append(("[[machine]]", {"id": machine, "name": machine.replace("-", " ").capitalize(), "kind": kind}))
        probe = {"node": f"node-{chr(97 + place)}", "probe": "top", "machine": machine, "interval_s": 600}
        tables.append(("[[probe]]", probe))
    if contact:
        tables.append(("[[contact]]", {"id": "sam", "name": "Sam", "url": contact}))
    tables += [(f"[rules.{id_}]", dict(numbers)) for id_, numbers in (rules or {}).items()]
    lines = []
    for head, values in tables:
        lines += [head, *(f"{key} = {json.dumps(value)}" for key, value in values.items()), ""]
    path = folder / "eggroom.toml"
    path.write_text("\n".join(lines) + more, encoding="utf-8")
    return path


def sample_configuration(folder: Path) -> Path:
    """The sample of deploy/ in the folder, with a password where it looks for one."""
    (folder / "broker-password").write_text("secret\n")
    text = (ROOT / "deploy" / "eggroom.toml").read_text(encoding="utf-8")
    place = "/etc/eggroom/broker-password"
    assert place in text
    path = folder / "sample.toml"
    path.write_text(text.replace(place, str(folder / "broker-password")), encoding="utf-8")
    return path


def eggroom(*arguments: str, config: Path | None = None, timeout_s: float = 60.0) -> subprocess.CompletedProcess[str]:
    """A command as a person gives it, in a process of its own."""
    more = () if config is None else ("--config", str(config))
    return subprocess.run(
        [sys.executable, "-m", "monitor", *arguments, *more],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=timeout_s,
    )


class _Account:
    """Within it this process has no right of root over files."""

    def __init__(self) -> None:
        self._root = os.geteuid() == 0
        self.name = pwd.getpwuid(NOBODY if self._root else os.geteuid()).pw_name

    def __enter__(self) -> None:
        if self._root:
            os.seteuid(NOBODY)

    def __exit__(self, *_: object) -> None:
        if self._root:
            os.seteuid(0)


@contextlib.contextmanager
def another_account() -> Iterator[tuple[_Account, Path]]:
    """An account that is not root's, to be entered, and a folder that it can look into."""
    with tempfile.TemporaryDirectory(prefix="eggroom-") as name:
        folder = Path(name)
        folder.chmod(0o777)
        yield _Account(), folder


def set_days_ago(days: float) -> str:
    """A set time that long ago, as the command line takes it."""
    return (datetime.now(UTC) - timedelta(days=days)).isoformat(timespec="seconds")


def query(config: Path, sql: str, *values: Any) -> list[tuple[Any, ...]]:
    """Rows of the record beside the configuration; none while there is no record yet."""
    path = config.parent / "record" / "eggroom.db"
    if not path.exists():
        return []
    connection = sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True, timeout=5.0)
    try:
        return connection.execute(sql, values).fetchall()
    finally:
        connection.close()


class Running:
    """`eggroom run` as a process. Leaving its `with` block ends it as a power cut would, if it still runs.

    prelude: Python that its process performs first, to put a fault where a test wants it. ready: wait until it is connected.
    """

    def __init__(self, config: Path, *, prelude: str = "", ready: bool = True) -> None:
        self.config = config
        self._prelude = prelude
        self._ready = ready
        self._log = config.parent / "daemon.log"
        self._process: subprocess.Popen[bytes] | None = None

    def __enter__(self) -> Running:
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        if self._process is not None and self._process.poll() is None:
            self.kill()

    def start(self) -> None:
        """Start it; wait until it answers and is connected, unless it was made with ready=False."""
        code = f"import sys\n{self._prelude}\nfrom monitor.cli.main import main\nsys.exit(main(sys.argv[1:]))"
        with self._log.open("ab") as log:
            self._process = subprocess.Popen(
                [sys.executable, "-c", code, "run", "--config", str(self.config)], cwd=ROOT, stdout=log, stderr=log
            )
        if self._ready:
            assert eventually(self.connected, READY_S), f"the daemon did not come up: {self.log()[-2000:]}"

    @property
    def pid(self) -> int:
        """Its process id."""
        assert self._process is not None
        return self._process.pid

    def log(self) -> str:
        """What it has logged so far, over all its starts."""
        return self._log.read_text(errors="replace")

    def ask(self, **request: Any) -> dict[str, Any]:
        """A request through its door."""
        return ask_door(self.config.parent / "record" / "eggroom.sock", request)

    def facts(self) -> dict[str, Any]:
        """How it is doing; empty while nobody answers."""
        try:
            return self.ask(do="facts")
        except DoorClosed:
            return {}

    def connected(self) -> bool:
        """Whether it answers, and has its broker; fails at once when the process has ended."""
        assert self._process is not None
        assert self._process.poll() is None, f"the daemon ended: {self.log()[-2000:]}"
        return bool(self.facts().get("broker_connected"))

    def terminate(self, number: int = signal.SIGTERM) -> int:
        """Ask it to stop; its exit code. Fails when it takes longer than is promised."""
        os.kill(self.pid, number)
        return self.wait(STOP_S)

    def wait(self, within_s: float = READY_S) -> int:
        """Its exit code, once it has ended by itself."""
        assert self._process is not None
        return self._process.wait(within_s)

    def kill(self) -> None:
        """End it as a power cut would."""
        assert self._process is not None
        self._process.kill()
        self._process.wait()


class Voice:
    """One node's words: numbers its messages from 0 and counts the time since its start, each sample at a millisecond of its own."""

    def __init__(self, node: str = "node-a", boot: int = 7) -> None:
        self.node, self.boot, self.seq = node, boot, 0
        self._began_s = time.monotonic() - 100.0
        self._last_ms = 0

    def pack(self, dry_bulb_c: float, rh_pct: float | None = None, probe: str = "top") -> bytes:
        """The next message, as the node would send it now."""
        sample_ms = self._last_ms = max(self._last_ms + 1, round((time.monotonic() - self._began_s) * 1000))
        up = -(-sample_ms // 1000)
        about = {
            "bn": f"{self.node}/",
            "boot": self.boot,
            "seq": self.seq,
            "up": up,
            "bt": (sample_ms - up * 1000) / 1000,
        }
        records: list[dict[str, Any]] = [about | {"n": f"{probe}/t", "u": "Cel", "v": dry_bulb_c}]
        if rh_pct is not None:
            records.append({"n": f"{probe}/rh", "u": "%RH", "v": rh_pct})
        self.seq += 1
        return json.dumps(records).encode()


class Node(Voice):
    """The same, which publishes them."""

    def __init__(self, port: int, node: str = "node-a", boot: int = 7) -> None:
        super().__init__(node, boot)
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id=f"test-{node}")
        self._client.max_inflight_messages_set(1000)
        self._client.max_queued_messages_set(0)
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()

    def __enter__(self) -> Node:
        return self

    def __exit__(self, *_: object) -> None:
        self._client.disconnect()
        self._client.loop_stop()

    def begin(self, dry_bulb_c: float, rh_pct: float | None = None, probe: str = "top") -> mqtt.MQTTMessageInfo:
        """Publish the next message, and do not wait for the broker."""
        return self._client.publish(f"eggroom/{SITE}/{self.node}/air", self.pack(dry_bulb_c, rh_pct, probe), qos=1)

    def send(self, *values: float, rh_pct: float | None = None, probe: str = "top") -> None:
        """Publish a message for each dry bulb, and return when the broker has them."""
        for info in [self.begin(value, rh_pct, probe) for value in values]:
            wait_published(info)


def wait_published(info: mqtt.MQTTMessageInfo) -> None:
    """Return when the broker has acknowledged it; fail after READY_S."""
    info.wait_for_publish(READY_S)
    assert info.is_published(), "the broker has not taken a message"


def until(true: Callable[[], object], otherwise: str, within_s: float = READY_S) -> None:
    """Wait until it is true; fail with `otherwise` after that long."""
    assert eventually(true, within_s), f"{otherwise} (waited {within_s:g} s)"


def typed(capsys: pytest.CaptureFixture[str], *arguments: str, config: Path | None = None) -> tuple[int, str, str]:
    """(exit code, standard output, standard error) of a command, in this process: as `eggroom`, and quicker."""
    capsys.readouterr()
    try:
        code = main([*arguments, *(() if config is None else ("--config", str(config)))])
    except SystemExit as end:
        code = end.code if isinstance(end.code, int) else 1
    out, err = capsys.readouterr()
    return code, out, err
