"""The suite of the Delivery port: passed by the fake and by the real adapter alike. A test class gives it a `rig` fixture."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from typing import Protocol

import pytest

from monitor.domain.alarms.notice import Notice
from monitor.service.ports import Contact, Delivered, Delivery, GiveUp, TryLater
from tests.told import facts

CANARY = "Kanarienvogel7391"  # a secret that must appear nowhere
SINCE = datetime(2026, 5, 4, 1, 12, tzinfo=UTC)
NOTICE = Notice(
    id=41,
    dedupe="12/41/owner",
    contact="owner",
    priority="high",
    title="Setter one: too hot",
    text="39.4 °C, band 37.5 to 38.1, since 03:12. batch-a day 17 setter. Eggs die within hours. Open the vent. No. 12",
    created=datetime(2026, 5, 4, 1, 20, tzinfo=UTC),
    alarm_number=12,
    link="http://eggroom.example/alarms/12",
    facts=facts("Setter one", since=SINCE, value=39.4),
)


def notice(id_: int, priority: str = "high", **changes: object) -> Notice:
    """A notice like NOTICE, of another id, about an alarm of the same number as its id unless told otherwise."""
    given = {
        "dedupe": f"{id_}/{id_}/owner",
        "alarm_number": id_,
        "title": f"Machine {id_}: too hot",
        "facts": facts(f"Machine {id_}", since=SINCE),
        **changes,
    }
    return replace(NOTICE, id=id_, priority=priority, **given)  # type: ignore[arg-type]


class Rig(Protocol):
    """A delivery, and a service of each kind behind it."""

    delivery: Delivery

    def contact(self, service: str) -> Contact:
        """A contact whose service is 'ok', 'busy', 'portal', 'cut' or 'unknown'; its address holds CANARY."""
        ...

    def arrived(self) -> list[tuple[str, str]]:
        """(title, text) of what the 'ok' service took."""
        ...


class DeliveryPortSuite:
    """What every Delivery promises."""

    def test_delivered_means_that_the_service_has_it(self, rig: Rig) -> None:
        """An accepting service gives Delivered, and has title, text, number and link."""
        assert isinstance(rig.delivery.send(NOTICE, rig.contact("ok")), Delivered)
        ((title, text),) = rig.arrived()
        assert title == NOTICE.title
        assert NOTICE.text in text

    def test_sending_twice_delivers_twice(self, rig: Rig) -> None:
        """Each attempt stands by itself: the port keeps no memory of what it sent."""
        contact = rig.contact("ok")
        assert [type(rig.delivery.send(NOTICE, contact)) for _ in range(2)] == [Delivered, Delivered]
        assert len(rig.arrived()) == 2

    @pytest.mark.parametrize("fault", ["busy", "cut", "portal"])
    def test_a_fault_of_the_service_is_tried_later(self, rig: Rig, fault: str) -> None:
        """A service that fails gives TryLater with a reason, never an exception, and works again for the next contact."""
        outcome = rig.delivery.send(NOTICE, rig.contact(fault))
        assert isinstance(outcome, TryLater)
        assert outcome.detail
        assert isinstance(rig.delivery.send(NOTICE, rig.contact("ok")), Delivered)

    def test_an_unknown_address_is_given_up(self, rig: Rig) -> None:
        """An address that can never work gives GiveUp."""
        assert isinstance(rig.delivery.send(NOTICE, rig.contact("unknown")), GiveUp)

    def test_problem_agrees_with_send(self, rig: Rig) -> None:
        """A usable address has no problem; a useless one has a problem of one line."""
        assert rig.delivery.problem(rig.contact("ok").url) is None
        problem = rig.delivery.problem(rig.contact("unknown").url)
        assert problem is not None
        assert "\n" not in str(problem)

    @pytest.mark.parametrize("service", ["ok", "busy", "cut", "portal", "unknown"])
    def test_no_answer_shows_the_secret(self, rig: Rig, service: str) -> None:
        """Neither an outcome nor a problem nor a repr holds anything of the address but its scheme."""
        contact = rig.contact(service)
        assert CANARY in contact.url
        said = [rig.delivery.send(NOTICE, contact), rig.delivery.problem(contact.url), rig.delivery, contact]
        assert CANARY not in repr(said)
