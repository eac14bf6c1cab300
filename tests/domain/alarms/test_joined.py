"""Which notices go together in one message, and which leads."""

from __future__ import annotations

from dataclasses import replace

import pytest

from monitor.domain.alarms.joined import RUN_GAP, Joined, episode, gather, matter, reminds, told_late
from monitor.domain.alarms.notice import Notice
from tests.told import about

SIX = [about(n, f"Setter {n}", after_s=n) for n in range(1, 7)]


def joined(notices: list[Notice], told: tuple[Notice, ...] = ()) -> Joined:
    """What several episodes are gathered to."""
    one = gather(notices, told)
    assert isinstance(one, Joined)
    return one


def unworded(notice: Notice) -> Notice:
    """The same without a word: what is gathered must not hang on words."""
    return replace(notice, title="", text="")


def test_no_word_is_read() -> None:
    """Notices without title and text are gathered as those that have them."""
    with_words, without = joined(SIX[1:], (SIX[0],)), joined([*map(unworded, SIX[1:])], (unworded(SIX[0]),))
    assert [n.id for n in without.lead.notices] == [n.id for n in with_words.lead.notices] == [2, 3, 4, 5, 6]
    assert [n.id for n in without.fellows] == [1]
    assert without.began == unworded(SIX[0])
    assert without.began_alike


def test_alike_is_what_the_same_rule_says_of_the_same_side_of_its_end() -> None:
    """Beginning and reminder are alike; an end, and another rule, are not; ends that are no longer judged are alike whatever they were."""
    hot, still, over, warm = (
        about(n, "Setter 1", what)
        for n, what in enumerate(("too hot", "STILL too hot", "no longer too hot", "warm"), start=1)
    )
    assert matter(hot) == matter(still)
    assert len({matter(hot), matter(over), matter(warm)}) == 3
    quiet = [replace(n, closing=True, facts=replace(n.facts, unjudged="no eggs in it")) for n in (hot, warm) if n.facts]
    assert matter(quiet[0]) == matter(quiet[1]) != matter(over)


def test_what_has_its_words_alone_is_like_no_other() -> None:
    """Two notices of an older program are two things, and neither is taken for a reminder."""
    one, other = (replace(about(n, "Setter 1", "STILL too hot"), facts=None) for n in (1, 2))
    assert matter(one) != matter(other)
    assert not reminds(one)
    assert len(joined([one, other]).others) == 1


def test_what_is_no_longer_judged_is_not_like_what_has_its_words_alone() -> None:
    """Not even where that is about alarm number 1."""
    quiet = about(2, "Setter 1", "no longer too hot")
    assert quiet.facts is not None
    quiet = replace(quiet, facts=replace(quiet.facts, unjudged="no eggs in it"))
    bare = replace(about(1, "Setter 1", "no longer too hot"), facts=None)
    assert bare.closing
    assert matter(quiet) != matter(bare)


def test_what_came_first_has_the_lowest_number() -> None:
    """Alarms are told in the order of their numbers, whichever notice was made first; what is about no alarm comes after them."""
    word = replace(about(1, "All is well", "warm", "low"), alarm_number=0)
    late, early = (
        about(2, "Setter 2", "warm", "low", alarm_number=9),
        about(3, "Setter 3", "warm", "low", alarm_number=8),
    )
    assert [n.id for n in joined([word, late, early]).lead.notices] == [3, 2, 1]


def test_the_most_urgent_leads_of_equals_the_first() -> None:
    """Within a group and among groups; what is over comes last, however urgent it was."""
    high, low = about(2, "a", "warm", "high"), about(1, "b", "warm", "low")
    dry, over = about(3, "c", "dry", "high"), about(4, "d", "no longer too hot", "critical")
    one = joined([over, low, dry, high])
    assert one.lead.head == high
    assert [n.id for n in one.lead.notices] == [1, 2]
    assert [[n.id for n in g.notices] for g in one.others] == [[3], [4]]
    assert one.more == 1
    assert joined([about(8, "a", "warm", "high"), about(7, "b", "warm", "high")]).lead.head.id == 7


def test_of_equals_what_is_new_leads_a_group() -> None:
    """A reminder of what came first does not stand before the machine that has just become as hot."""
    again, new = about(1, "Setter 1", "STILL too hot"), about(2, "Setter 2")
    assert matter(again) == matter(new)
    assert joined([again, new]).lead.head == new
    other = about(3, "Setter 3", alarm_number=3)
    assert joined([again, new, other]).lead.head == new  # and of what is new, the first


def test_in_which_order_it_is_handed_over_does_not_matter() -> None:
    """Neither of what is told now nor of what was told before, of which the first word of an episode counts."""
    told = (SIX[0], about(20, "Setter 1", "STILL too hot", after_s=400, alarm_number=1), SIX[1])
    assert joined(SIX[2:], told) == joined(SIX[:1:-1], told[::-1])
    assert joined(SIX[2:], told[::-1]).began == SIX[0]


def test_a_single_episode_is_its_last_word() -> None:
    """An end whose beginning waits beside it was never told of; one whose beginning was told is an end like any other."""
    begun, end = SIX[0], about(9, "Setter 1", "no longer too hot", "low", alarm_number=1)
    assert gather([begun, end]) == told_late(end)
    assert gather([end], [begun]) == end
    assert gather([begun]) == begun
    assert gather([end, begun]) == told_late(end)  # by their ids, in whatever order they wait


def test_what_is_over_is_no_fellow_of_a_flood() -> None:
    """Of those that were told the same, only what was not told to be over counts; it may have begun it all the same."""
    end = about(9, "Setter 1", "no longer too hot", "low", alarm_number=1)
    one = joined(SIX[1:3], (SIX[0], SIX[5], end))
    assert [n.id for n in one.fellows] == [6]
    assert one.began == SIX[0]


@pytest.mark.parametrize(("late_s", "first"), [(0.0, 1), (1.0, 2)])
def test_a_flood_ends_where_nothing_comes_for_two_minutes(late_s: float, first: int) -> None:
    """Up to two minutes from one alarm to the next is one flood; a second more, and the next begins another."""
    assert RUN_GAP.total_seconds() == 120.0
    apart = [about(1, "Setter 1"), *(about(n, f"Setter {n}", after_s=120.0 + late_s) for n in (2, 3))]
    began = joined(apart[1:], (apart[0],)).began
    assert began is not None
    assert began.id == first


def test_a_flood_that_comes_after_is_not_the_worsts() -> None:
    """What began long after the worst belongs to another flood, and is not what it began with."""
    one = joined([about(1, "Setter 1"), about(2, "Setter 2", "dry", "low", after_s=600)])
    assert one.began is not None
    assert one.began.id == 1


def test_nothing_began_what_stands_alone_or_is_over() -> None:
    """Beside ends alone no first is told, nor where all is over."""
    end = about(9, "Setter 9", "no longer too hot", "low")
    assert joined([SIX[0], end]).first is None
    assert joined([SIX[0], SIX[1], end]).first == SIX[0]
    assert joined([end, about(10, "Setter 8", "no longer too hot", "low")]).first is None
    over = joined([about(20 + n, f"Setter {n}", "no longer too hot", alarm_number=n) for n in (1, 2)], (SIX[0], SIX[1]))
    assert (over.began, over.first, over.began_alike, over.fellows) == (None, None, False, ())
    dry = about(8, "Setter 8", "dry", "low")
    assert joined([SIX[0], SIX[1], dry]).first == joined([SIX[1], dry], (SIX[0],)).first == SIX[0]


def test_an_end_begins_no_flood() -> None:
    """What was told to be over just before is not what a flood began with, however low its number."""
    end = about(1, "Setter 9", "no longer too hot", "low")
    assert joined(SIX[1:], (end,)).began == SIX[1]


def test_a_word_about_no_alarm_begins_no_flood() -> None:
    """The daily word that came just before the first alarm is not what the flood began with, nor one of it."""
    for word in (replace(about(n, "All is well"), alarm_number=0) for n in (1, 50)):
        found = joined(SIX[1:], (word,))
        assert found.began == SIX[1]
        assert word not in found.fellows


def test_numbers_are_those_to_answer_with() -> None:
    """Each once, rising; what is about no alarm has none, and stands for itself."""
    word = replace(about(50, "All is well"), alarm_number=0, facts=None)
    assert episode(word) == -50
    assert joined([SIX[2], SIX[0], word]).numbers == (1, 3)
    many = [about(n, f"Setter {n}", alarm_number=n) for n in (1000, 64, 8, 1, 999)]
    assert joined(many).numbers == (1, 8, 64, 999, 1000)


def test_a_group_is_still_the_same_only_if_nothing_in_it_is_new() -> None:
    """One new among reminders makes the group news."""
    still = [about(10 + n, f"Setter {n}", "STILL too hot", alarm_number=n) for n in (1, 2)]
    assert joined(still).lead.still
    assert not joined([still[0], about(3, "Setter 3")]).lead.still


def test_a_flood_ends_where_nothing_came_for_a_while() -> None:
    """What came long after belongs to another: the first of the flood that the worst is of stays its first."""
    one, two = SIX[:2]
    late = about(3, "Setter 3", after_s=3 + int(RUN_GAP.total_seconds()))
    found = joined([two, late], (one,))
    assert found.began == one
    assert [n.id for n in found.lead.notices] == [2, 3]
    assert [n.id for n in found.fellows] == [1]


def test_the_first_of_a_flood_is_the_alarm_that_began_first() -> None:
    """Alarms are numbered as they begin; in which order their notices were written does not matter."""
    first, second, third = (replace(n, id=id_) for n, id_ in zip(SIX[:3], (12, 11, 13), strict=True))
    found = joined([second, third], (first,))
    assert found.began is not None
    assert found.began.alarm_number == first.alarm_number
    assert [n.alarm_number for n in found.fellows] == [first.alarm_number]


def test_of_an_episode_the_newest_word_counts_in_a_group_too() -> None:
    """Of one that is told twice in a message, and that waits in another order, what was said last."""
    again = replace(SIX[0], id=20, priority="low")
    for waiting in ([SIX[0], SIX[1], again], [again, SIX[1], SIX[0]]):
        one = joined(waiting)
        assert sorted(n.id for n in one.lead.notices) == [2, 20]


def test_a_flood_is_over_at_its_first_gap() -> None:
    """What is numbered behind the gap is none of it, also where its own message was made before."""
    behind = (about(2, "Setter 2", after_s=200), about(3, "Setter 3", after_s=100))
    one = joined([about(1, "Setter 1", after_s=0), about(9, "Setter 9", "warm", "high", after_s=300)], behind)
    assert (one.lead.head.id, one.fellows) == (1, ())
