"""The demo, as a newcomer runs it."""

from __future__ import annotations

import subprocess
import sys
import time

EGGROOM = [sys.executable, "-m", "monitor"]


def test_the_demo_tells_its_story_and_ends_by_itself() -> None:
    """`eggroom demo --for 30`: a heater sticks on, the message reaches the phone, is answered, and is over; exit 0, in time.

    What the page says and what the phone rings come by two ways: each is in order by itself, and neither waits for the other.
    """
    began = time.monotonic()
    run = subprocess.run([*EGGROOM, "demo", "--for", "30"], capture_output=True, text=True, timeout=100, check=False)
    took = time.monotonic() - began
    assert run.returncode == 0, run.stderr
    assert 30 <= took < 60
    assert run.stderr == ""
    story = run.stdout
    until_answered = [
        "hen-1: 24 eggs of chicken, day 10, in Setter 1",
        "The heater of Setter 1 sticks on.",
        "PHONE | Urgent: Setter 1 too hot",
        "Sam, woken by the phone, answers No. ",
        "Setter 1: too hot: seen",
    ]
    history = "Environment history of batch duck-1"
    for then in (
        ["Setter 1: deadly heat: seen", "Setter 1: deadly heat: over"],
        ["PHONE | Over: Setter 1 no longer too hot"],
    ):
        told = [*until_answered, *then, history]
        places = [story.find(words) for words in told]
        assert -1 not in places, (told[places.index(-1)], story)
        assert places == sorted(places)


def test_a_wrong_speed_is_one_line() -> None:
    """A speed that cannot be is said in one line, and nothing is started."""
    run = subprocess.run([*EGGROOM, "demo", "--speed", "0"], capture_output=True, text=True, timeout=30, check=False)
    assert run.returncode == 1
    assert run.stderr == "eggroom: --speed 0, expected 1 to 600\n"
