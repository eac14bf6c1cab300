"""The page of one species and the list of all: in plain words, 80 columns wide, each value with its source."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from monitor.adapters.tables.profiles import load_profiles, load_sources
from monitor.domain.needs.profile import Profile
from monitor.shown.needs.species import profile_table, profile_text, profile_view

SHIPPED = load_profiles()


def page(profile: Profile) -> list[str]:
    """Its lines."""
    return profile_text(profile, load_sources()).splitlines()


@pytest.mark.parametrize("id_", SHIPPED)
def test_a_page_fits_a_terminal_and_ends_with_what_is_not_known(id_: str) -> None:
    """No line is wider than 79 columns, every source is spelled out, and the end is what no source says."""
    profile = SHIPPED[id_]
    lines = page(profile)
    assert max(map(len, lines)) < 80
    assert not any("your own file" in line for line in lines)
    start = lines.index("  not known of this bird")
    told = " ".join(line.strip() for line in lines[start + 1 :])
    assert told.replace("- ", "").count(".") >= len(profile.unknown)
    assert [each.lstrip("- ")[:20] for each in lines[start + 1 :] if each.startswith("  - ")] == [
        each[:20] for each in profile.unknown
    ]


def test_a_bird_of_the_calendar() -> None:
    """A hen: the day of its lockdown, the clock of its target, the heat that harms, each with the key of its source."""
    lines = page(SHIPPED["chicken"])
    assert lines[:9] == [
        "Chicken (Gallus gallus domesticus), chicken, fowl",
        "  21 days  MSU-IIF-memory",
        "  hatch day 20 to 22  memory",
        "  lockdown on day 18  MSU-IIF-memory",
        "  weight loss 11 to 13 % by day 18, which is 11.6 to 13.7 by pip (day 18.9)",
        "    and 12.8 to 15.2 by hatch  memory",
        "  eggs of 50 to 70 g  memory",
        "  in still air 1.1 K more, at egg top  MSU-IIF",
        "  eggs are harmed or die at 40.6 °C for 30 min  MSU-HMG",
    ]
    assert "  lockdown from day 18" in lines
    assert "  Of the 20 limits above 11 are published, 4 from memory, 5 judgement (25 %)." in lines


def test_a_bird_that_goes_by_the_egg() -> None:
    """A goose: the sign that begins its lockdown, the day from which one looks for draw-down, a target by another source's clock."""
    lines = page(SHIPPED["goose"])
    assert "  hatch day 28 to 34  MSU-IIF-memory" in lines
    assert "  goes by the egg: lockdown begins at internal pip  judgement" in lines
    assert "  from day 25 on draw-down may begin: candle  MSU-IIF-memory" in lines
    assert "  lockdown from internal pip" in lines
    assert "judgement, by the clock of MEIR-91" in " ".join(line.strip() for line in lines[:8])


def test_the_share_of_judgement_is_counted_from_the_sources() -> None:
    """It follows the sources of the limits, and only theirs: of the bands, and not of days or masses."""
    hen = SHIPPED["chicken"]
    assert profile_view(hen)["limits_from"] == {"published": 11, "memory": 4, "judgement": 5, "own": 0}
    turned = replace(
        hen,
        sources=dict(hen.sources)
        | {"stage.setter.dry_bulb_c.target": "own", "stage.setter.wet_bulb_c.target": "common-practice", "days": "own"},
    )
    assert profile_view(turned)["limits_from"] == {"published": 10, "memory": 3, "judgement": 6, "own": 1}
    told = " ".join(line.strip() for line in page(turned))
    assert "Of the 20 limits above 10 are published, 3 from memory, 6 judgement (30 %), 1 your own." in told


def test_the_list_marks_who_goes_by_the_egg() -> None:
    """One line a species, its day starred where the calendar only reminds; what the star means is said below."""
    lines = profile_table(SHIPPED.values()).splitlines()
    assert max(map(len, lines)) < 80
    assert any(re.fullmatch(r"african-grey +28 +23\.8\* African grey parrot", line) for line in lines)
    assert any(re.fullmatch(r"chicken +21 +18  Chicken", line) for line in lines)
    assert lines[-2] == "* by the egg: draw-down may begin then, and lockdown begins with a sign in it"


def test_what_a_program_is_told() -> None:
    """The keys that are new in it: kind, what begins the lockdown, the lethal heat, what is not known, and whence the limits come."""
    view = profile_view(SHIPPED["american-kestrel"])
    assert (view["kind"], view["lockdown_by"], view["target_loss_to"], view["lethal_heat"]) == (
        "raptor", "external pip", "internal pip", None,
    )  # fmt: skip
    assert view["unknown"] == list(SHIPPED["american-kestrel"].unknown)
