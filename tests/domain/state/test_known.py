"""What is known: how urgent a rule is at an instant, its own or as what it comes together with; and what is asked of the rest."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from monitor.domain.alarms.about import Apart, Fault, Switched
from monitor.domain.alarms.alarm import Alarm
from monitor.domain.eggs.temperature import EggModel
from monitor.domain.needs.batch import subject_of
from monitor.domain.needs.profile import Stage
from monitor.domain.needs.rules import (
    ALL_SILENT,
    DISAGREE,
    DRY_BULB,
    EGG,
    LOCKDOWN_OVERDUE,
    MAINS_LOST,
    NO_DATA,
    SENSOR_FAILED,
)
from monitor.domain.needs.site import OF_MAINS
from monitor.domain.state.known import (
    Look,
    ProbeState,
    did_not_get_through,
    doubt_of,
    egg_range_c,
    got_through,
    plan_with,
    rule_of,
    troubled,
    waits_no_more,
)
from monitor.domain.state.memory import EggFelt, Heard
from tests.domain.house import (
    MACHINES,
    MOIST_RH,
    MONO0_S,
    PROFILES,
    RULES,
    T0,
    WARM,
    Story,
    batch,
    probes,
    site,
    there,
)

LOW_WARNING, TOP = "dry-bulb-low-warning", "node-a/top"


def with_alarm(subject: str, rule: str, condition: bool) -> Look:
    """A house in which one alarm stands, or has come and gone without being seen."""
    story = Story(batches=(batch(),))
    story.put()
    story.state.alarms = {(subject, rule): Alarm(subject, rule, 1, 1, condition, acknowledged=False)}
    return story.look()


@pytest.mark.parametrize(
    ("machine", "air", "raised"),
    [("setter-1", (36.2, 45.0), True), ("setter-1", (37.5, 20.0), False), ("hatcher-1", (36.2, 45.0), False)],
)
def test_probes_that_disagree_are_urgent_while_their_own_air_is_out_of_its_band(
    machine: str, air: tuple[float, float], raised: bool
) -> None:
    """Either may be right: a temperature that is out, in that very machine, and of a probe that speaks."""
    story = Story(site=site(probes((TOP, "setter-1"), ("node-b/top", machine))), batches=(batch(),))
    story.air = {TOP: (37.5, 45.0), "node-b/top": (37.5, 45.0)}
    story.run(minutes=1)
    assert rule_of(story.look(), "setter-1", DISAGREE).priority == "low"
    story.air["node-b/top"] = air
    story.run(minutes=1)
    assert rule_of(story.look(), "setter-1", DISAGREE).priority == ("high" if raised else "low")
    story.air["node-b/top"] = None
    story.run(minutes=2)
    assert rule_of(story.look(), "setter-1", DISAGREE).priority == "low"


def test_a_disagreement_of_probes_that_are_no_longer_there_is_as_mild_as_it_is() -> None:
    """The record may know of one in a machine from which every probe was taken since."""
    story = Story(site=site({}), batches=(batch(),))
    assert rule_of(story.look(), "setter-1", DISAGREE).priority == "low"  # nor while no limit is worked out yet
    story.put()
    assert rule_of(story.look(), "setter-1", DISAGREE).priority == "low"


def test_what_was_called_off_is_owed_to_nobody() -> None:
    """Of an episode of which another notice waits for the same contact that one is still owed; of one that nobody was told of, nothing is noted."""
    state = Story().state
    did_not_get_through(state, 3, "sam", since=T0)
    state.unsent = {8: ("sam", 3), 9: ("kim", 3)}
    waits_no_more(state, 3, "sam")
    assert state.reached[3, "sam"].unheard_since == T0
    del state.unsent[8]
    waits_no_more(state, 3, "sam")
    assert state.reached[3, "sam"].unheard_since is None
    waits_no_more(state, 4, "sam")
    assert (4, "sam") not in state.reached


def test_what_was_urgent_stays_so_while_it_stands() -> None:
    """A disagreement that had left the band is no milder when it is back within it: it is told in one voice."""
    look = with_alarm("setter-1", DISAGREE, True)
    alarm = look.state.alarms["setter-1", DISAGREE]
    for outside, priority in ((False, "low"), (True, "high")):
        about = Apart((TOP,), "dry_bulb_c", 1.0, outside=outside)
        look.state.alarms["setter-1", DISAGREE] = replace(alarm, about=about)
        assert rule_of(look, "setter-1", DISAGREE).priority == priority


def test_what_a_switch_says_is_mild_once_it_has_long_harmed_nothing() -> None:
    """Only while it does, and of that alarm alone."""
    for about, priority in (
        (Switched("node-a/mains", OF_MAINS, warm=True), "low"),
        (Switched("node-a/mains", OF_MAINS), "high"),
        ("", "high"),
    ):
        look = with_alarm("site", MAINS_LOST, True)
        alarm = look.state.alarms["site", MAINS_LOST]
        look.state.alarms["site", MAINS_LOST] = replace(alarm, about=about)
        assert rule_of(look, "site", MAINS_LOST).priority == priority
        assert rule_of(look, "site", ALL_SILENT) == RULES[ALL_SILENT]
    assert rule_of(Story().look(), "site", MAINS_LOST) == RULES[MAINS_LOST]


def test_a_warning_stays_as_mild_as_it_is() -> None:
    """That the sensors disagree is told as urgently as it is; one cause raises no second high."""
    assert rule_of(heard(with_alarm("setter-1", DISAGREE, True), 30.0), "setter-1", LOW_WARNING).priority == "low"
    assert rule_of(with_alarm("setter-1", DISAGREE, True), "setter-1", LOW_WARNING).priority == "low"


def test_a_failed_sensor_is_as_urgent_as_the_danger_that_it_hides() -> None:
    """Only what stands in its own machine, and of the temperature of air or eggs."""
    own = rule_of(Story(batches=(batch(),)).look(), TOP, SENSOR_FAILED).priority
    hot = "dry-bulb-lethal"
    assert rule_of(with_alarm("setter-1", hot, True), TOP, SENSOR_FAILED).priority == "critical"
    assert rule_of(with_alarm("setter-1", hot, False), TOP, SENSOR_FAILED).priority == own
    assert rule_of(with_alarm("hatcher-1", hot, True), TOP, SENSOR_FAILED).priority == own
    assert rule_of(with_alarm("setter-1", "humidity-high-alarm", True), TOP, SENSOR_FAILED).priority == own
    both = with_alarm("setter-1", hot, True)
    both.state.alarms["setter-1", LOW_WARNING] = Alarm("setter-1", LOW_WARNING, 2, 1, True)
    assert rule_of(both, TOP, SENSOR_FAILED).priority == "critical"  # of two dangers the greater
    assert rule_of(both, "node-gone/top", SENSOR_FAILED).priority == own  # of a probe that is no longer there
    assert rule_of(with_alarm("setter-1", hot, True), TOP, NO_DATA) == RULES[NO_DATA]  # of silence it is the own rule


def heard(look: Look, dry_bulb_c: float, ago_s: float = 0.0) -> Look:
    """The house, of whose probe that temperature was heard so long ago."""
    look.state.probe(TOP).heard = Heard(look.now.mono_s - ago_s, look.now.utc, dry_bulb_c, 45.0)
    return look


def test_air_at_its_limit_is_not_yet_out_of_its_band() -> None:
    """A limit is passed by what is beyond it: at an alarm limit a disagreement is as mild as it is, a hundredth beyond it is not; likewise when
    cold. Beyond what is only warned of it stays mild while the sensors differ by no more than sound ones may."""
    look = with_alarm("setter-1", DISAGREE, False)
    plan = there(look.state.plan_of("setter-1"))
    least_c, most_c = (
        next(each.limit for each in plan.limits if each.key[1] == f"dry-bulb-{side}-alarm") for side in ("low", "high")
    )
    assert plan.within[1] < most_c - 0.5
    assert rule_of(heard(look, most_c - 0.5), "setter-1", DISAGREE).priority == "low"
    for dry_bulb_c, priority in (
        (least_c, "low"),
        (least_c - 0.01, "high"),
        (37.5, "low"),
        (most_c, "low"),
        (most_c + 0.01, "high"),
    ):
        assert rule_of(heard(look, dry_bulb_c), "setter-1", DISAGREE).priority == priority


def test_what_a_probe_said_counts_until_it_is_silent() -> None:
    """Three intervals of ten seconds: at that age its cold still makes a disagreement urgent, later it is no more than how it was."""
    look = with_alarm("setter-1", DISAGREE, False)
    assert rule_of(heard(look, 30.0, ago_s=30.0), "setter-1", DISAGREE).priority == "high"
    assert rule_of(heard(look, 30.0, ago_s=30.1), "setter-1", DISAGREE).priority == "low"


def test_a_disagreement_out_of_the_band_asks_each_half_hour() -> None:
    """It stands for whatever either sensor says; where a house has it ask more often, or never, that is kept, or is half an hour, too."""
    for own_s, asks_s in ((14_400.0, 1800.0), (600.0, 600.0), (None, 1800.0)):
        rules = {**RULES, DISAGREE: replace(RULES[DISAGREE], re_alarm_s=own_s)}
        story = Story(site(rules=rules), (batch(),))
        story.put()
        assert rule_of(heard(story.look(), 37.5), "setter-1", DISAGREE).re_alarm_s == own_s
        assert rule_of(heard(story.look(), 30.0), "setter-1", DISAGREE).re_alarm_s == asks_s


def test_a_rule_that_is_urgent_by_itself_is_made_no_milder() -> None:
    """Where a house has disagreeing sensors told as critical, they are critical out of the band as well."""
    story = Story(site(rules={**RULES, DISAGREE: replace(RULES[DISAGREE], severity="grave", priority="critical")}))
    story.batches = (batch(),)
    story.put(batch())
    assert rule_of(heard(story.look(), 30.0), "setter-1", DISAGREE).priority == "critical"


def test_messages_of_which_nothing_can_be_judged_are_one_trouble_from_the_first_on() -> None:
    """As long as none comes later than is allowed after the one before; what is said is what was wrong with the newest."""
    first = troubled(None, 100.0, Fault("crc"), within_s=30.0)
    assert (first.mono_s, first.since_s, first.about) == (100.0, 100.0, Fault("crc"))
    second = troubled(first, 130.0, Fault("bus"), within_s=30.0)
    assert (second.mono_s, second.since_s, second.about) == (130.0, 100.0, Fault("bus"))
    assert troubled(second, 160.1, Fault("bus"), within_s=30.0).since_s == 160.1


def test_humidity_is_missed_from_the_last_that_was_fit_on() -> None:
    """Where none was fit, from the first that came at all; a probe that never sent any is not asked for one."""
    known = ProbeState()
    assert known.humid_at_s() is None
    known.heard = Heard(200.0, T0, 37.5, None)
    assert known.humid_at_s() is None
    known.humid_from_s = 100.0
    assert known.humid_at_s() == 100.0
    known.heard = Heard(300.0, T0, 37.5, 45.0, 290.0)
    assert known.humid_at_s() == 290.0


def test_nobody_was_silent_before_this_run_listened() -> None:
    """It listens from its start, and from the end of each time that it stood still."""
    state = Story().state
    assert state.listens_mono_s == MONO0_S
    state.stood_until_mono_s = MONO0_S + 400.0
    assert state.listens_mono_s == MONO0_S + 400.0


def test_a_contact_is_unheard_since_the_first_notice_that_did_not_get_through() -> None:
    """A second failure moves nothing; the first that arrives ends it; and each contact of an episode has its own."""
    state = Story().state
    did_not_get_through(state, 3, "sam", since=T0)
    did_not_get_through(state, 3, "sam", since=T0 + timedelta(minutes=5))
    did_not_get_through(state, 3, "kim", since=T0 + timedelta(minutes=7))
    assert state.reached[3, "sam"].unheard_since == T0
    got_through(state, 3, "sam", at=T0 + timedelta(minutes=9))
    assert state.reached[3, "sam"].unheard_since is None
    assert state.reached[3, "kim"].unheard_since == T0 + timedelta(minutes=7)
    did_not_get_through(state, 3, "sam", since=T0 + timedelta(minutes=11))
    assert state.reached[3, "sam"].unheard_since == T0 + timedelta(minutes=11)


def test_whom_an_episode_reached_is_forgotten_only_when_it_is_over_and_much_is_known() -> None:
    """A house of years must not fill its memory; what stands is never given up."""
    state = with_alarm("setter-1", LOW_WARNING, True).state
    state.alarms["setter-1", "other"] = Alarm("setter-1", "other", 2, 1, False)
    for number in range(1, 1_001):
        got_through(state, number, "sam", at=T0)
    assert len(state.reached) == 1_000
    got_through(state, 1, "kim", at=T0)
    assert set(state.reached) == {(1, "sam"), (1, "kim")}


def test_the_plan_of_a_batch_is_that_of_the_machine_it_is_in() -> None:
    """Of several machines the one that holds it; a batch that is in none has none, nor has what is about no batch."""
    story = Story(batches=(batch(), batch("hen-2", machine="hatcher-1"), batch("hen-3", machine=None)))
    story.put()
    for id_, machine in (("hen-1", "setter-1"), ("hen-2", "hatcher-1")):
        assert plan_with(story.state, id_) is story.state.plan_of(machine) is not None
    assert plan_with(story.state, "hen-3") is None
    assert plan_with(story.state, "") is None
    story.state.plan_anew()
    assert plan_with(story.state, "hen-1") is None
    assert story.state.plan_of("setter-1") is story.state.plan_of("nowhere") is None


# Of eggs whose mass nobody said: the middle of what hatches, 28 g, in moving air.
EGG_OF_5, EGG_OF_17 = (EggModel(28.0, 21.0).doubt_k(EggModel(28.0, 21.0).offset_k(day)) for day in (5.0, 17.0))


def told(value: float | None, about: str = EGG) -> Alarm:
    """An alarm of eggs at that temperature."""
    return Alarm("setter-1", "egg-cold", 1, 1, True, about=about, value=value)


def test_an_estimate_is_told_with_what_it_may_be_off() -> None:
    """Of the egg that it is about, which of several batches is the one that is as warm as was said."""
    story = Story(batches=(batch(), batch("hen-2", day=17.0)))
    story.put()
    look = story.look()
    look.state.eggs = {"hen-1": EggFelt(MONO0_S, 31.0, 30.0), "hen-2": EggFelt(MONO0_S, 33.0, 30.0)}
    assert EGG_OF_5 != EGG_OF_17
    for value, (down_k, up_k) in ((31.4, EGG_OF_5), (30.0, EGG_OF_5), (32.8, EGG_OF_17), (35.0, EGG_OF_17)):
        assert doubt_of(look, told(value)) == pytest.approx((value - down_k, value + up_k))
    eggs = there(look.state.plan_of("setter-1")).eggs
    assert egg_range_c(look, eggs[1], 33.0) == pytest.approx((33.0 - EGG_OF_17[0], 33.0 + EGG_OF_17[1]))


def test_what_is_no_estimate_has_no_doubt_of_its_own() -> None:
    """An alarm of the air, one without a value, of a machine that nothing is known of, and of eggs that are followed no more: they hatch, or were moved."""
    hen = replace(PROFILES["hen"], stages=(*PROFILES["hen"].stages, Stage("hatch", 19.5, WARM, MOIST_RH)))
    story = Story(site(profiles={"hen": hen}), (batch(), batch("hen-2", day=20.0)))
    story.put()
    look = story.look()
    look.state.eggs = {"hen-2": EggFelt(MONO0_S, 31.0, 30.0)}
    assert doubt_of(look, told(31.0)) is None
    look.state.eggs["hen-1"] = EggFelt(MONO0_S, 35.0, 30.0)
    assert doubt_of(look, told(31.0)) == pytest.approx((31.0 - EGG_OF_5[0], 31.0 + EGG_OF_5[1]))
    assert doubt_of(look, told(31.0, DRY_BULB)) is None
    assert doubt_of(look, told(None)) is None
    assert doubt_of(look, replace(told(31.0), subject="hatcher-9")) is None


def test_a_probe_is_judged_by_the_rules_of_the_machine_it_hangs_in() -> None:
    """Where that machine has numbers of its own, and of a batch those of the machine that it is in; elsewhere the site's hold."""
    own = replace(MACHINES["setter-1"], rules={NO_DATA: {"re_alarm_s": 777.0}, LOCKDOWN_OVERDUE: {"re_alarm_s": 888.0}})
    watched = probes((TOP, "setter-1"), ("node-b/top", "hatcher-1"))
    story = Story(site(watched, machines={**MACHINES, "setter-1": own}), (batch(), batch("hen-2", machine="hatcher-1")))
    story.put()
    look = story.look()
    for subject, rule, own_s in (
        (TOP, NO_DATA, 777.0),
        ("setter-1", NO_DATA, 777.0),
        (subject_of("hen-1"), LOCKDOWN_OVERDUE, 888.0),
    ):
        assert rule_of(look, subject, rule).re_alarm_s == own_s
    for subject, rule in (("node-b/top", NO_DATA), (subject_of("hen-2"), LOCKDOWN_OVERDUE), ("node-a", NO_DATA)):
        assert rule_of(look, subject, rule) == RULES[rule]
