"""What takes long is known here, so that two workers end together and the quick part can leave it out."""

from __future__ import annotations

from pathlib import Path

import pytest

TESTS = Path(__file__).parent
# Files that start real servers, daemons, nodes, browsers and installations, or play minutes of stories: the longest first, which is how
# they are handed to the workers (a file is one worker's: its module fixtures are made once, and its real times are not disturbed by itself).
LONG = (
    "lifecycle/test_lifecycle.py",
    "test_wheel.py",
    "truth/test_truth.py",
    "truth/test_bars.py",
    "test_bench_short.py",
    "firmware/test_process.py",
    "test_trouble.py",
    "test_app.py",
    "firmware/test_mqtt.py",
    "service/reports/test_together.py",
    "test_power_loss.py",
    "adapters/link/test_mqtt.py",
    "adapters/archive/test_archive.py",
    "cli/egg/test_egg.py",
    "cli/test_main.py",
    "cli/batch/test_archive.py",
    "shown/history/test_page.py",
    "shown/review/test_page.py",
    "shown/history/test_egg_draw.py",
    "rehearse/test_streams.py",
    "rehearse/test_season.py",
    "domain/readings/test_agreement.py",
    "domain/readings/test_quality.py",
    "truth/test_scenarios.py",
    "firmware/test_main.py",
    "firmware/test_node.py",
    "firmware/test_drivers.py",
    "adapters/test_demo_broker.py",
    "analysis/history/test_environment.py",
    "analysis/review/test_judged.py",
    "mutation/test_mutation.py",
    "test_style.py",
    "rehearse/test_demo.py",
    "domain/signs/test_heading.py",
    "adapters/test_door.py",
    "service/watch/test_engine_failing_store.py",
    "cli/room/test_calibrate.py",
    "rehearse/test_cabinet.py",
    "adapters/test_delivery.py",
    "rehearse/test_weights_played.py",
    "adapters/store/test_ledger.py",
    "cli/batch/test_history.py",
    "rehearse/test_preview.py",
    "cli/tried/test_replay.py",
    "cli/batch/test_review.py",
    "rehearse/test_rule_names.py",
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
