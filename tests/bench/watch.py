"""The eyes in a process under measurement, the same in ours and in the reference, so that they cost both the same.

Lines in, and what they answer:
    expect N   times are forgotten, and once N messages have been acknowledged since the start `reached <monotonic seconds>` is said
    times      a JSON mapping of `node seq` to the monotonic time of its decision, since the last expect
    modules    a JSON list of the modules loaded in this process
    (end)      stop
"""

from __future__ import annotations

import json
import sys
import threading
import time


class Watch:
    """See the module. decided and acknowledged are called by what is measured, from any one thread each."""

    def __init__(self) -> None:
        self._times: dict[tuple[str, int], float] = {}
        self._counting = threading.Lock()
        self._acknowledged = 0
        self._target: int | None = None

    def decided(self, node: str, seq: int) -> None:
        """A reading has just been judged."""
        self._times[node, seq] = time.monotonic()

    def acknowledged(self, count: int) -> None:
        """So many messages are durable, and the broker has just been told."""
        with self._counting:
            self._acknowledged += count
            if self._target is not None and self._acknowledged >= self._target:
                self._target = None
                say(f"reached {time.monotonic()!r}")

    def serve(self) -> None:
        """Answer until the input ends."""
        for line in sys.stdin:
            word, _, rest = line.strip().partition(" ")
            if word == "expect":
                self._times.clear()
                with self._counting:
                    say("counting")
                    self._target = int(rest)
                self.acknowledged(0)  # it may be reached already
            elif word == "times":
                say(json.dumps({f"{node} {seq}": at for (node, seq), at in self._times.items()}))
            elif word == "modules":
                say(json.dumps(sorted(sys.modules)))


def say(words: str) -> None:
    """One line out."""
    sys.stdout.write(f"{words}\n")
    sys.stdout.flush()
