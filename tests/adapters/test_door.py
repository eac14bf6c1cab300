"""The local door: one request on one line, one answer, and what happens when somebody does not keep to that."""

from __future__ import annotations

import contextlib
import errno
import json
import os
import socket
import stat
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest

from monitor.adapters import door as door_module
from monitor.adapters.clock import forward_s
from monitor.adapters.door import MAX_REQUEST, Door, DoorClosed, DoorSilent, ask_door, check_door
from tests.receivers import eventually

Reply = Callable[[Mapping[str, Any]], None]


def echo(request: Mapping[str, Any], reply: Reply) -> None:
    reply({"asked": dict(request)})


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "d.sock"


@pytest.fixture
def door(path: Path) -> Iterator[Door]:
    opened = Door(path, echo, mono_s=forward_s)
    opened.start()
    yield opened
    opened.stop()


def raw(path: Path, data: bytes, *, close: bool = True) -> bytes:
    """What comes back for these bytes."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as caller:
        caller.settimeout(10.0)
        caller.connect(str(path))
        caller.sendall(data)
        if close:
            caller.shutdown(socket.SHUT_WR)
        return caller.makefile("rb").read()


def test_there_and_back(door: Door, path: Path) -> None:
    """A request arrives as it was sent, and its answer comes back as it was given, any letters in both."""
    assert ask_door(path, {"do": "move", "note": "käfig\n\u2028"}) == {"asked": {"do": "move", "note": "käfig\n\u2028"}}


def test_a_large_answer(path: Path) -> None:
    """An answer of many pieces comes back whole."""
    large = {"machines": ["x" * 1000] * 500}
    opened = Door(path, lambda request, reply: reply(large), mono_s=forward_s)
    opened.start()
    assert ask_door(path, {}) == large
    opened.stop()


@pytest.mark.parametrize(
    "line", [b"", b"\n", b"nonsense\n", b"[1]\n", b'"room"\n', b'{"do":\n', b"\xff\xfe\n", b"[" * 10_000 + b"\n"]
)
def test_a_request_that_is_none(door: Door, path: Path, line: bytes) -> None:
    """Anything but a JSON object on one line is answered with what was expected, and the door stays open."""
    answer = json.loads(raw(path, line))
    said = f"request of {len(line)} bytes, expected one JSON object on one line of at most {MAX_REQUEST}"
    assert answer == {"error": said, "words": [said]}
    assert ask_door(path, {"do": "room"}) == {"asked": {"do": "room"}}


def test_a_request_that_is_too_long(door: Door, path: Path) -> None:
    """A request over the limit is refused, though it be sound JSON."""
    line = json.dumps({"note": "x" * MAX_REQUEST}).encode() + b"\n"
    assert b"expected one JSON object" in raw(path, line)


def test_callers_do_not_wait_for_one_another(path: Path) -> None:
    """A request that is slow to answer, and a caller who says nothing, hold up nobody else."""
    slow: list[Reply] = []

    def ask(request: Mapping[str, Any], reply: Reply) -> None:
        slow.append(reply) if request["do"] == "slow" else reply({"done": True})

    opened = Door(path, ask, mono_s=forward_s)
    opened.start()
    answers: list[dict[str, Any]] = []
    waiting = threading.Thread(target=lambda: answers.append(ask_door(path, {"do": "slow"})))
    waiting.start()
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as silent:
        silent.connect(str(path))
        assert eventually(lambda: slow)
        assert ask_door(path, {"do": "quick"}) == {"done": True}
        assert answers == []
        slow[0]({"late": True})
        waiting.join(10.0)
    assert answers == [{"late": True}]
    opened.stop()


def test_no_answer_in_time(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A request whose change cannot be written in time is told as failed, not as wrong."""
    monkeypatch.setattr(door_module, "ANSWER_S", 0.2)
    opened = Door(path, lambda request, reply: None, mono_s=forward_s)
    opened.start()
    answer = ask_door(path, {"do": "ack"})
    opened.stop()
    said = "no answer within 0.2 s: the record cannot be written now; it is tried again"
    assert answer == {"error": said, "words": [said], "failed": True}


def test_a_caller_who_leaves(door: Door, path: Path) -> None:
    """A caller who hangs up before the answer, or in the middle of a request, disturbs nobody."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as caller:
        caller.connect(str(path))
        caller.sendall(b'{"do":')
    assert ask_door(path, {"do": "room"}) == {"asked": {"do": "room"}}


def test_a_caller_who_drips_is_shown_out(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A byte now and then is no sign of an end: the whole of a request has its time, in however many pieces it comes."""
    monkeypatch.setattr(door_module, "ANSWER_S", 0.5)
    opened = Door(path, echo, mono_s=forward_s)
    opened.start()
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as caller:
        caller.connect(str(path))
        shown_out = False
        for _ in range(60):
            with contextlib.suppress(OSError):
                caller.send(b"x")
                caller.settimeout(0.05)
                shown_out = caller.recv(1) == b""
            if shown_out:
                break
        assert shown_out
    opened.stop()


def test_a_crowd_leaves_files_for_the_alarms(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """So many are let in at once and no more; those who wait outside are answered when others have gone."""
    monkeypatch.setattr(door_module, "ANSWER_S", 1.0)
    monkeypatch.setattr(door_module, "MAX_CALLERS", 3)
    opened = Door(path, echo, mono_s=forward_s)
    opened.start()
    with contextlib.ExitStack() as crowd:
        for _ in range(6):
            caller = crowd.enter_context(socket.socket(socket.AF_UNIX, socket.SOCK_STREAM))
            caller.connect(str(path))
        assert eventually(lambda: sum(t.name == "door-caller" for t in threading.enumerate()) == 3)
        time.sleep(0.3)
        assert sum(t.name == "door-caller" for t in threading.enumerate()) == 3
        assert ask_door(path, {"do": "x"}) == {"asked": {"do": "x"}}
    opened.stop()


def test_nobody_there(path: Path) -> None:
    """Without a door, behind a dead one, or when it closes without a whole answer, DoorClosed says which and why."""
    with pytest.raises(DoorClosed, match=r"d\.sock: No such file or directory"):
        ask_door(path, {})
    dead = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    dead.bind(str(path))
    dead.close()
    with pytest.raises(DoorClosed, match=r"d\.sock: Connection refused"):
        ask_door(path, {})
    with pytest.raises(DoorClosed, match="path too long"):
        ask_door(path.parent / ("d" * 120), {})


@pytest.mark.parametrize("answer", [b"", b'{"machines":[', b"[]\n"])
def test_half_an_answer(path: Path, answer: bytes) -> None:
    """A daemon that dies in the middle of its answer is a closed door, not a traceback."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as listener:
        listener.bind(str(path))
        listener.listen(1)

        def serve() -> None:
            caller, _ = listener.accept()
            with caller:
                caller.recv(1000)
                caller.sendall(answer)

        thread = threading.Thread(target=serve)
        thread.start()
        with pytest.raises(DoorClosed, match="closed without a whole answer"):
            ask_door(path, {"do": "room"})
        thread.join(10.0)


@contextlib.contextmanager
def crowd(path: Path) -> Iterator[socket.socket]:
    """A door where as many stand as it holds, and nobody lets them in."""
    with contextlib.ExitStack() as stack:
        listener = stack.enter_context(socket.socket(socket.AF_UNIX, socket.SOCK_STREAM))
        listener.bind(str(path))
        listener.listen(1)
        while True:
            before = stack.enter_context(socket.socket(socket.AF_UNIX, socket.SOCK_STREAM))
            before.setblocking(False)
            try:
                before.connect(str(path))
            except BlockingIOError:
                break
        listener.settimeout(5.0)
        yield listener


def test_a_crowd_before_a_daemon_that_hangs(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Somebody has this door: it is not told as one where none runs, whoever asks and whatever is asked."""
    for name in ("PATIENCE_S", "ALIVE_S"):
        monkeypatch.setattr(door_module, name, 0.1)
    with crowd(path):
        with pytest.raises(DoorSilent):
            ask_door(path, {"do": "acknowledge"})
        with pytest.raises(DoorSilent):
            check_door(path)


def test_a_crowd_that_is_let_in(path: Path) -> None:
    """Who comes while others stand before the door waits for a place, and is answered."""
    with crowd(path) as listener:

        def serve() -> None:
            time.sleep(0.2)
            for _ in range(8):
                caller, _ = listener.accept()
                with caller, contextlib.suppress(TimeoutError):
                    caller.settimeout(0.1)
                    if caller.recv(1000):
                        caller.sendall(b'{"done": true}\n')
                        return

        thread = threading.Thread(target=serve)
        thread.start()
        answer = ask_door(path, {"do": "room"})
        thread.join(10.0)
    assert answer == {"done": True}


def test_a_socket_left_behind(path: Path) -> None:
    """The socket of a process that was killed is replaced; a door that is stopped leaves none, and may be stopped again."""
    dead = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    dead.bind(str(path))
    dead.close()
    opened = Door(path, echo, mono_s=forward_s)
    opened.start()
    assert ask_door(path, {"do": "x"}) == {"asked": {"do": "x"}}
    opened.stop()
    assert not path.exists()
    opened.stop()


def test_too_many_open_files(door: Door, path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A caller who cannot be taken in just now does not end the door: it opens again by itself."""
    monkeypatch.setattr(door_module, "RETRY_S", 0.01)
    was = door._socket
    assert was is not None
    listener = was
    failed: list[bool] = []

    class Exhausted:
        def accept(self) -> Any:
            if len(failed) < 3:
                failed.append(True)
                raise OSError(errno.EMFILE, os.strerror(errno.EMFILE))
            return listener.accept()

        def close(self) -> None:
            listener.close()

    door._socket = Exhausted()  # type: ignore[assignment]
    assert ask_door(path, {"do": "x"}) == {"asked": {"do": "x"}}  # by the accept that was under way
    assert ask_door(path, {"do": "y"}) == {"asked": {"do": "y"}}
    assert len(failed) == 3


def test_who_may_pass(door: Door, path: Path) -> None:
    """Owner and group may write to the socket, others may not."""
    assert stat.S_IMODE(path.stat().st_mode) == 0o660


def test_a_place_that_takes_no_socket(tmp_path: Path) -> None:
    """A folder that is not there raises OSError, and nothing is left running."""
    with pytest.raises(OSError, match="No such file or directory"):
        Door(tmp_path / "no" / "d.sock", echo, mono_s=forward_s).start()
    assert "door" not in {thread.name for thread in threading.enumerate()}
