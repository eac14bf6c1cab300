"""The one door to the engine: whatever happens becomes an item in a bounded queue, in the order of its arrival."""

from __future__ import annotations

import queue
import time
from collections.abc import Callable, Mapping

from monitor.domain.alarms.about import Damaged, Regained, Unrecorded
from monitor.domain.fixed import fixed
from monitor.domain.needs.site import Site
from monitor.domain.readings.reading import Message, Now
from monitor.domain.state.happened import Broker
from monitor.domain.state.record import Attempt
from monitor.service.ports import Receipt, WeightAsked, WeightVerdict
from monitor.service.watch.requests import Rearrange, Request

# More than the broker may have in flight, so it is full only when something floods past the window. A full inbox makes the
# network thread wait: the broker then keeps what it has, which is what its queue is for.
MAX_ITEMS = 50_000
_FULL_WAIT_S = 0.01


@fixed
class Arrived:
    """A message from the broker, stamped when it reached us; the receipt is owed once it is durable."""

    now: Now
    message: Message
    receipt: Receipt | None = None


@fixed
class Asked:
    """A person's request; `reply` is called once what it changed is durable, with the answer or an {"error": ...}."""

    now: Now
    request: Request
    reply: Callable[[Mapping[str, object]], None]


@fixed
class Attempted:
    """What came of sending a notice."""

    now: Now
    attempt: Attempt


@fixed
class Linked:
    """The broker was reached, or lost. here: whether it runs on this machine."""

    now: Now
    connected: bool
    detail: Broker
    here: bool = True


@fixed
class Networked:
    """This machine's own network is there, or gone."""

    now: Now
    up: bool


@fixed
class Elsewhere:
    """A node came (or went) under our root, but under another site's name: set up for another site, or by mistake."""

    now: Now
    node: str
    site: str
    online: bool


@fixed
class Opened:
    """The record was opened; None: it is whole. Unrecorded: it could not be, nor be read."""

    now: Now
    trouble: Damaged | Regained | Unrecorded | None


@fixed
class WeightJudged:
    """What came of judging the weights of a batch."""

    now: Now
    asked: WeightAsked
    verdict: WeightVerdict


@fixed
class CalendarDue:
    """Something may be due by the calendar; or the clock was set, and what is due is another."""

    now: Now


@fixed
class Rearranged:
    """The house is as this site has it, by the request of a person, who is answered once that is durable. The last item: the next run is of that site."""

    now: Now
    site: Site
    request: Rearrange
    reply: Callable[[Mapping[str, object]], None]


@fixed
class Stop:
    """The last item: finish what is begun, then end."""

    now: Now


Item = (
    Arrived
    | Asked
    | Attempted
    | Linked
    | Networked
    | Elsewhere
    | Opened
    | WeightJudged
    | CalendarDue
    | Rearranged
    | Stop
)


class Inbox:
    """A bounded queue; any thread puts, one takes."""

    def __init__(self, max_items: int = MAX_ITEMS, pace: float = 1.0) -> None:
        """pace: how many of the clock's seconds pass in one of life's (a demo's clock runs fast)."""
        self._items: queue.SimpleQueue[Item] = queue.SimpleQueue()
        self._max = max_items
        self.pace = pace

    def put(self, item: Item) -> None:
        """Put an item; wait while the queue is full."""
        while self.full():
            time.sleep(_FULL_WAIT_S)
        self._items.put(item)

    def take(self, timeout_s: float) -> Item | None:
        """The next item; None when there is none for so long."""
        try:
            return self._items.get_nowait() if timeout_s <= 0 else self._items.get(timeout=timeout_s / self.pace)
        except queue.Empty:
            return None

    def close(self, now: Now) -> None:
        """Let the worker finish what came so far, and end."""
        self._items.put(Stop(now))

    def full(self) -> bool:
        """Whether whoever puts an item must wait."""
        return self._items.qsize() >= self._max

    def waiting(self) -> int:
        """How many items wait."""
        return self._items.qsize()
