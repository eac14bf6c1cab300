"""Whether a machine's sensors can be believed: each by itself, and against one another. A doubt silences no danger."""

from __future__ import annotations

from monitor.domain.alarms.alarm import IN, OUT, Judgement
from monitor.domain.needs.rules import DISAGREE, DRIFTING, SENSOR_FAILED, SENSOR_SUSPECT
from monitor.domain.needs.site import STILL, Site
from monitor.domain.readings.agreement import DRIFT, XDIS, Agreement, Difference, Given, Pairs, agree
from monitor.domain.readings.agreement import DRY_BULB as DRY_BULB_TEST
from monitor.domain.readings.reading import FAIL, SUSPECT, Now
from monitor.domain.state.known import State
from monitor.domain.state.record import Group
from monitor.domain.watch.deciding import judge
from monitor.domain.watch.intake import Fresh

_NOTHING = Pairs()
_WORDS = {"RNG": "no sensible value", "FLAT": "stands still", "NOISE": "restless", "SPK": "jumps", "ROC": "moves faster than air does"}  # fmt: skip
_QUANTITIES = {"T": "temperature", "H": "humidity"}
# A temperature beyond what eggs live in is news of the machine, not of the sensor: the air's own alarms say it.
_OF_THE_AIR = "RNG-T"


def judge_sensor(state: State, site: Site, reading: Fresh, now: Now, out: Group) -> None:
    """One probe by its own tests: failed, doubtful, or neither."""
    quality, probe = reading.quality, reading.probe.key
    failed, suspect = (probe, SENSOR_FAILED), (probe, SENSOR_SUSPECT)
    if quality.dry_bulb_flag == FAIL:
        about = _about(quality.tests, FAIL)
        judge(state, site, failed, Judgement(OUT, reading.at, about=about), now, out)
    elif failed in state.alarms and quality.dry_bulb_fit:
        judge(state, site, failed, Judgement(IN, reading.at), now, out)
    if quality.held:
        return  # the next reading says what this one was
    doubtful = any(flag == SUSPECT and test != _OF_THE_AIR for test, flag in quality.tests)
    if doubtful or suspect in state.alarms:
        about = _about(quality.tests, SUSPECT) if doubtful else ""
        judge(state, site, suspect, Judgement(OUT if doubtful else IN, reading.at, about=about), now, out)


def compare_sensors(state: State, site: Site, machine: str, now: Now, out: Group) -> None:
    """The probes of one machine against one another."""
    probes = site.by_machine[machine]
    given: dict[str, Given] = {}
    for probe in probes:
        heard = state.heard.get(probe.key)
        if heard is not None:
            given[probe.key] = (heard.mono_s, heard.dry_bulb_c, heard.rh_pct)
    if len(given) < 2:
        return
    found = agree(
        state.pairs.get(machine, _NOTHING),
        now.mono_s,
        given,
        interval_s=max(p.interval_s for p in probes),
        still=site.machines[machine].air == STILL,
    )
    state.pairs[machine] = found.pairs
    _judge_agreement(state, site, machine, found, now, out)


def _judge_agreement(state: State, site: Site, machine: str, found: Agreement, now: Now, out: Group) -> None:
    for test, rule in ((XDIS, DISAGREE), (DRIFT, DRIFTING)):
        standing = [d for d in found.found if d.test == test]
        key = (machine, rule)
        if standing:
            worst = max(standing, key=lambda d: d.flag)
            judge(state, site, key, Judgement(OUT, now.utc, about=_difference(worst, site.unit)), now, out)
        elif key in state.alarms and found.compared:
            judge(state, site, key, Judgement(IN, now.utc), now, out)


def _about(tests: tuple[tuple[str, int], ...], flag: int) -> str:
    """`temperature stands still (FLAT-T)`, of the first test with that flag."""
    for test, came in tests:
        kind, _, quantity = test.partition("-")
        if came == flag and not (test == _OF_THE_AIR and flag == SUSPECT) and quantity in _QUANTITIES:
            return f"{_QUANTITIES[quantity]} {_WORDS[kind]} ({test})"
    return ""


def _difference(found: Difference, unit: str) -> str:
    """`node-a/top is 0.8 °C off`, `node-a/top and node-a/low differ by 0.8 °C`."""
    by = f"{abs(found.by):.0f} %RH"
    if found.quantity == DRY_BULB_TEST:
        by = f"{abs(found.by) * 1.8:.1f} °F" if unit == "F" else f"{abs(found.by):.1f} °C"
    if len(found.probes) == 1:
        return f"{found.probes[0]} is {by} off"
    what = "differ by" if found.test == XDIS else "have moved apart by"
    return f"{' and '.join(found.probes)} {what} {by}"
