"""The local door: a Unix socket beside the record, through which the command line asks the running daemon.

One JSON object on one line in, one out. Only the daemon's own user and group can reach it.
"""

from __future__ import annotations

import contextlib
import json
import logging
import os
import select
import socket
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from monitor.domain.refusal import Failure
from monitor.service.watch.requests import RequestError

if TYPE_CHECKING:
    from monitor.service.ports import Answer

MAX_REQUEST = 6 * 1024 * 1024  # bytes; the longest request is a file of 4 MiB in base64
MAX_ANSWER = 1_048_576  # bytes; the longest answer is a room, about 2 kB for each machine
RETRY_S = 5.0
ANSWER_S = 15.0  # a request is answered when it is durable; a slow card takes seconds
# After so long without an answer it is asked whether anybody is there at all: the door says so itself, however slow the card is.
PATIENCE_S, ALIVE_S = 2.5, 1.0  # together, and once more, within five seconds
MAX_CALLERS = 64  # at once; the others wait outside, for each takes an open file, and the alarms need some
CROWD_S = 0.02  # between two tries at a door where others stand
ALIVE = {"do": "alive"}
_log = logging.getLogger("eggroom.door")

Ask = Callable[[Mapping[str, object], Callable[[Mapping[str, object]], None]], None]


class DoorClosed(Failure):
    """No daemon answers at this door."""


class DoorSilent(DoorClosed):
    """A daemon has this door, and does not answer: it hangs."""


class Door:
    """Listens; each caller is served by a thread of its own, for callers are few."""

    def __init__(self, path: Path, ask: Ask, *, mono_s: Callable[[], float]) -> None:
        self._path = path
        self._ask = ask
        self._mono_s = mono_s
        self._stopping = threading.Event()
        self._socket: socket.socket | None = None
        self._thread: threading.Thread | None = None
        self._room = threading.Semaphore(MAX_CALLERS)

    def start(self) -> None:
        """Open the door. Raises OSError when the path cannot be used."""
        with contextlib.suppress(FileNotFoundError):
            os.unlink(self._path)  # a socket left by a process that was killed; the store's lock says that it is gone
        listener = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        try:
            listener.bind(str(self._path))
            os.chmod(self._path, 0o660)
            listener.listen(8)
            listener.settimeout(0.5)
        except OSError:
            listener.close()
            raise
        self._socket = listener
        self._thread = threading.Thread(target=self._serve, name="door", daemon=True)
        self._thread.start()

    @property
    def is_open(self) -> bool:
        """Whether somebody can come in."""
        return self._socket is not None

    def stop(self) -> None:
        """Close the door."""
        self._stopping.set()
        if self._thread is not None:
            self._thread.join(timeout=3.0)
        if self._socket is not None:
            self._socket.close()
            with contextlib.suppress(FileNotFoundError):
                os.unlink(self._path)

    def _serve(self) -> None:
        assert self._socket is not None
        while not self._stopping.is_set():
            if not self._room.acquire(timeout=0.5):
                continue
            try:
                caller, _ = self._socket.accept()
            except TimeoutError:
                self._room.release()
                continue
            except OSError as error:
                self._room.release()
                # Too many open files, say: that may pass, and without the door nobody can answer an alarm.
                if not self._stopping.wait(RETRY_S):
                    _log.error("door failing detail=%s", error)
                continue
            threading.Thread(target=self._answer, args=(caller,), name="door-caller", daemon=True).start()

    def _answer(self, caller: socket.socket) -> None:
        with caller:
            try:
                until = self._mono_s() + ANSWER_S
                line = _read_line(caller, MAX_REQUEST, left_s=lambda: until - self._mono_s())
                caller.settimeout(ANSWER_S)
                _write_line(caller, self._reply_to(line))
            except OSError as error:
                _log.warning("caller left detail=%s", error)
            finally:
                self._room.release()

    def _reply_to(self, line: bytes) -> Mapping[str, object]:
        request = _mapping(line) if len(line) <= MAX_REQUEST else None
        if request is None:
            expected = f"one JSON object on one line of at most {MAX_REQUEST}"
            return RequestError("", f"request of {len(line)} bytes", expected).answer()
        if request == ALIVE:
            return {"alive": True}
        answered = threading.Event()
        answer: list[Mapping[str, object]] = []

        def reply(given: Mapping[str, object]) -> None:
            answer.append(given)
            answered.set()

        self._ask(request, reply)
        if not answered.wait(ANSWER_S):
            came = "the record cannot be written now; it is tried again"
            return RequestError(f"no answer within {ANSWER_S:g} s", came).failed()
        return answer[0]


def ask_door(path: Path, request: Mapping[str, object]) -> Answer:
    """Ask the daemon behind the door. Raises DoorClosed when nobody answers there, DoorSilent when somebody is there and hangs.

    Its no is {"error": one line}; with "failed": True when the request was good, and could not be done.
    """
    with _caller(path, PATIENCE_S) as caller:
        try:
            _write_line(caller, request)
            if not select.select([caller], [], [], PATIENCE_S)[0]:
                check_door(path)
            caller.settimeout(ANSWER_S + 5.0)
            answer = _mapping(_read_line(caller, MAX_ANSWER))
        except TimeoutError as error:
            raise DoorSilent(str(path), "no answer") from error
        except OSError as error:
            raise DoorClosed(str(path), error.strerror or str(error)) from error
    if answer is None:
        raise DoorClosed(str(path), "closed without a whole answer")
    return answer


def check_door(path: Path) -> None:
    """See that a daemon is behind the door and not stuck, whatever its card does. Raises as `ask_door`, within ALIVE_S or so."""
    with _caller(path, ALIVE_S) as caller:
        try:
            _write_line(caller, ALIVE)
            _read_line(caller, MAX_ANSWER)
        except TimeoutError as error:
            raise DoorSilent(str(path), "no answer") from error
        except OSError as error:
            raise DoorClosed(str(path), error.strerror or str(error)) from error


@contextlib.contextmanager
def _caller(path: Path, wait_s: float) -> Iterator[socket.socket]:
    """Somebody who stands at the door, and waits so long for each step. Raises as `ask_door`."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as caller:
        caller.settimeout(wait_s)
        try:
            _step_up(caller, path, wait_s)
        except (TimeoutError, BlockingIOError) as error:  # nobody takes in those who wait
            raise DoorSilent(str(path), "no answer") from error
        except OSError as error:
            raise DoorClosed(str(path), error.strerror or str(error)) from error
        yield caller


def _step_up(caller: socket.socket, path: Path, wait_s: float) -> None:
    """Connect. A socket with a timeout does not wait where others stand before it, as one does that blocks: so it is tried for that long."""
    for _ in range(int(wait_s / CROWD_S)):
        with contextlib.suppress(BlockingIOError):
            return caller.connect(str(path))
        time.sleep(CROWD_S)
    caller.connect(str(path))


def _mapping(line: bytes) -> Answer | None:
    """The JSON object on a line; None for anything else, or a part of one."""
    try:
        found = json.loads(line)
    except (ValueError, RecursionError):
        return None
    return found if isinstance(found, dict) else None


def _read_line(caller: socket.socket, limit: int, left_s: Callable[[], float] | None = None) -> bytes:
    """A line, or what came of it before the other side closed or the limit was passed. left_s: what is left for all of it, in however many
    pieces; None: each of them may take as long as the socket has it. Raises TimeoutError."""
    data = bytearray()  # grows in place, for a file comes in a hundred pieces
    while not data.endswith(b"\n") and len(data) <= limit:
        if left_s is not None:
            left = left_s()
            if left <= 0.0:
                raise TimeoutError("the request did not come to its end")
            caller.settimeout(left)
        piece = caller.recv(65_536)
        if not piece:
            break
        data += piece
    return bytes(data)


def _write_line(caller: socket.socket, message: Mapping[str, object]) -> None:
    caller.sendall(json.dumps(message).encode() + b"\n")
