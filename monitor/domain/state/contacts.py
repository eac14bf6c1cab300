"""What the switches of a machine, or of the house, say now, as far as they are believed."""

from __future__ import annotations

from monitor.domain.needs.site import OF_MAINS, Switch
from monitor.domain.signs.switch import Contact, chatters
from monitor.domain.state.known import Look

MISSED = 3  # so often the air showed an opened door, and its contact said shut: it is stuck, or off (judgement)
SLACK_S = 120.0  # so long before the air is seen to fall a contact may have told of it


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


def door_open(look: Look, machine: str, within_s: float) -> bool | None:
    """Whether a contact of its door says that a machine is open, or was no longer than within_s ago. None where not all are believed."""
    doors = look.site.doors.get(machine, ())
    contacts = [contact for switch in doors if (contact := believed(look, switch)) is not None]
    if not doors or len(contacts) < len(doors):
        return None
    return any(c.said or (c.turns and look.now.mono_s - c.turned_mono_s <= within_s) for c in contacts)


def told_of_door(look: Look, machine: str, since_s: float) -> bool:
    """Whether any contact of its door has said that a machine was open since then, or just before."""
    contacts = (look.state.contacts.get(switch.key) for switch in look.site.doors.get(machine, ()))
    return any(c is not None and (c.said or any(turn >= since_s - SLACK_S for turn in c.turns)) for c in contacts)
