"""What the switches of a machine, or of the house, say now, as far as they are believed."""

from __future__ import annotations

from monitor.domain.needs.site import OF_MAINS, Switch
from monitor.domain.signs.opening import BORNE_S
from monitor.domain.signs.switch import Contact, chatters
from monitor.domain.state.known import Look

MISSED = 3  # so often the air showed an opened door, and its contact said shut: it is stuck, or off (judgement)


def believed(look: Look, switch: Switch) -> Contact | None:
    """What a switch says; None where it is silent, chatters, or the air has shown that it is wrong."""
    contact, mono_s = look.state.contacts.get(switch.key), look.now.mono_s
    if contact is None or mono_s - contact.mono_s > switch.silence_s or contact.missed >= MISSED:
        return None
    return None if chatters(contact, mono_s) else contact


def mains_gone(look: Look) -> bool:
    """Whether the newest word of a switch was that there are no mains, however long ago: without them nobody speaks."""
    contacts = (look.state.contacts.get(s.key) for s in look.site.switches.values() if s.kind == OF_MAINS)
    return any(contact is not None and contact.said for contact in contacts)


def door_holds(look: Look, machine: str) -> bool | None:
    """Whether a door's contact says that low air may wait: it is open, or was shut a moment ago, neither for long. None where no contact says."""
    contacts = [c for s in look.site.doors[machine] if (c := believed(look, s)) is not None]
    if len(contacts) < len(look.site.doors[machine]):
        return None
    lately = (c for c in contacts if c.said or c.turns)
    return any(look.now.mono_s - c.turned_mono_s <= BORNE_S for c in lately)
