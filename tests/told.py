"""Notices by what they say, for tests of what becomes of them: `about(1, "Setter 1", "too hot")` has the facts and the words of that.

Subjects are called by their names; the house has no machine of its own, and the probes of PROBES.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone

from monitor.adapters.tables.rules import shipped_rules
from monitor.domain.alarms.notice import Facts, Notice
from monitor.domain.needs.bands import DRY_BULB, RH
from monitor.domain.needs.profile import Band
from monitor.domain.needs.site import Machine, Probe, Site
from monitor.domain.state.record import Event
from monitor.shown.phone.joined import NoticeWords

RULES = shipped_rules()
T0 = datetime(2026, 5, 4, 0, 14, tzinfo=UTC)  # 02:14 on the wall
PROBES = {f"node-a/p{n}": f"m-{n}" for n in range(1, 7)} | {"node-a/top": "hatcher", f"{'n' * 32}/{'p' * 32}": "long"}
_MACHINES = {f"m-{n}": f"Setter {1 + n % 2}" for n in range(1, 7)} | {"hatcher": "Hatcher", "long": "W" * 24}
HOUSE = Site(
    id="home",
    zone=timezone(timedelta(hours=2)),
    unit="C",
    pressure_kpa=101.325,
    machines={id_: Machine(id_, name) for id_, name in _MACHINES.items()},
    probes={key: Probe(key, machine) for key, machine in PROBES.items()},
    profiles={},
    rules=RULES,
    contacts=("owner",),
)
WORDS = NoticeWords(HOUSE)
WARM = Band(36.0, 37.5, 37.8, 38.1, 39.0)
_RULE_OF = {words: rule.id for rule in RULES.values() for words in (rule.words, rule.over)}


def event_words(event: Event) -> str:
    """What happened, as the record keeps it."""
    return event.text if event.what is None else WORDS.happened(event.what)


def facts(name: str, what: str = "too hot", since: datetime = T0, **changes: object) -> Facts:
    """What a notice of these words says; of the air's temperature with 39.5 °C, of its humidity with 44 %RH."""
    still = what.startswith("STILL ")
    rule = RULES[_RULE_OF[what.removeprefix("STILL ")]]
    given: dict[str, object] = {"still": still, "over": what == rule.over, "since": since}
    if rule.id.startswith("dry-bulb"):
        given |= {"quantity": DRY_BULB, "value": 39.5, "worst": 44.5, "band": WARM}
    elif rule.id.startswith("humidity"):
        given |= {"quantity": RH, "value": 44.0, "worst": 41.0}
    return Facts(name, rule.id, **(given | changes))  # type: ignore[arg-type]


def about(
    id_: int, name: str, what: str = "too hot", priority: str = "critical", after_s: float = 0.0, **changes: object
) -> Notice:
    """The notice of an alarm of the number id_ that began so long after T0, or that ended after 49 minutes."""
    since = T0 + timedelta(seconds=after_s)
    told = facts(name, what, since)
    if told.over:
        told = facts(name, what, since, ended=since + timedelta(minutes=49), value=37.8 if told.quantity else None)
    if "of_hens" in changes:
        told = replace(told, of_hens=bool(changes.pop("of_hens")))
    if "respond_min" in changes:
        told = replace(told, respond_min=changes.pop("respond_min"))  # type: ignore[arg-type]
    given = {"created": since, "alarm_number": id_, "closing": told.over, "facts": told, **changes}
    made = Notice(id_, f"{id_}/{id_}/owner", "owner", priority, "", "", **given)  # type: ignore[arg-type]
    return WORDS.word(made)
