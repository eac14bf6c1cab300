"""One line of a storm: what was done, what was lost, what may be."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Told:
    """lost: how often something was, or was not told; none may be. note: what was measured beside."""

    what: str
    done: int
    lost: int
    note: str = ""

    @property
    def met(self) -> bool:
        return self.lost == 0

    def line(self) -> str:
        note = f"; {self.note}" if self.note else ""
        return f"{'ok    ' if self.met else 'FAILED'} {self.what}: {self.done} done, {self.lost} lost, 0 allowed{note}"
