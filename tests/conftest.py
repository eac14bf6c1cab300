"""What takes long is known here, so that the workers end together and the quick part can leave it out."""

from __future__ import annotations

import gc
import os
from pathlib import Path

import pytest

os.environ.pop("COLUMNS", None)  # which a runner of several processes sets: what is printed into a pipe would be folded

TESTS = Path(__file__).parent
# Files that start real servers, daemons, nodes, browsers and installations, or play minutes of stories: in the order in which they are handed to
# the workers, the longest first, and what mostly waits beside what computes (a file is one worker's: its module fixtures are made once, and its
# real times are not disturbed by itself). A single test that takes more than two seconds is marked as slow where it stands.
LONG = (
    "lifecycle/test_lifecycle.py",
    "firmware/test_process.py",
    "truth/test_truth.py",
    "test_trouble.py",
    "test_stands_still.py",
    "truth/test_bars.py",
    "test_app.py",
    "test_wheel.py",
    "test_bench_short.py",
    "test_power_loss.py",
    "storm/test_files.py",
    "test_style.py",
    "firmware/test_mqtt.py",
    "domain/signs/test_heading.py",
    "adapters/link/test_mqtt.py",
    "domain/readings/test_quality.py",
    "rehearse/test_season.py",
    "service/across/test_together.py",
    "analysis/history/test_environment.py",
    "mutation/test_mutation.py",
    "analysis/water/test_breaks.py",
    "rehearse/test_weights_played.py",
    "shown/history/test_page.py",
    "cli/egg/test_egg.py",
    "cli/tried/test_replay.py",
    "analysis/review/test_judged.py",
    "domain/readings/test_agreement.py",
    "rehearse/test_preview.py",
    "cli/batch/test_archive.py",
    "adapters/test_delivery.py",
    "rehearse/test_cabinet.py",
    "cli/batch/test_history.py",
    "adapters/store/test_ledger.py",
    "rehearse/test_rule_names.py",
    "rehearse/test_streams.py",
    "cli/batch/test_review.py",
    "truth/test_scenarios.py",
    "adapters/archive/test_archive.py",
    "rehearse/test_demo.py",
    "shown/review/test_page.py",
    "test_away.py",
    "shown/history/test_egg_draw.py",
    "cli/room/test_calibrate.py",
    "cli/test_main.py",
    "adapters/test_demo_broker.py",
    "firmware/test_main.py",
    "firmware/test_node.py",
    "firmware/test_drivers.py",
    "adapters/test_door.py",
    "service/watch/test_engine_failing_store.py",
)
PLACES = {TESTS / name: place for place, name in enumerate(LONG)}


def pytest_ignore_collect(collection_path: Path, config: pytest.Config) -> bool | None:
    """What the quick part leaves out is not even read."""
    return True if config.option.markexpr == "not slow" and collection_path in PLACES else None


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark what is in LONG as slow, and put it first."""
    for item in items:
        if item.path in PLACES:
            item.add_marker(pytest.mark.slow)
    items.sort(
        key=lambda item: PLACES.get(item.path, len(LONG))
    )  # stable: within a file, and after them, all stays as it was


def pytest_collection_finish() -> None:
    """All tests, and all that they import, stay to the end: whoever looks for garbage need not look through them each time."""
    gc.collect()
    gc.freeze()
