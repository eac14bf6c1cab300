"""`eggroom demo --season`: the invented season as a record and a configuration in a folder, to try the review on."""

from __future__ import annotations

import contextlib
import shlex
import tomllib
from pathlib import Path

from monitor.adapters.store.connection import open_writer
from monitor.adapters.store.ledger import SqliteLedger
from monitor.adapters.tables.profiles import load_profiles
from monitor.app import store_path
from monitor.domain.refusal import Failure
from monitor.rehearse.season import NODES, PLACES, PROBES, STEP_S, drawn, group_of
from monitor.service.ports import StoreFailure
from monitor.settings import House, build_house, parse_settings

FILE = "eggroom.toml"
SEED = "seed"  # a file beside it: the number that the season was drawn from
FOLDER = Path("eggroom-season")  # under the working directory; each seed has its own in it
MOST_SEED = 2**32 - 1


class SeasonError(Failure):
    """The season cannot be written or told."""


def season_folder(folder: Path | None, seed: int) -> Path:
    """Where the season of a seed is, where no folder was named."""
    return FOLDER / f"seed-{seed}" if folder is None else folder


def write_season(folder: Path | None, seed: int) -> str:
    """Write the season into a new or empty folder; what to type next. Raises SeasonError."""
    if not 0 <= seed <= MOST_SEED:
        raise SeasonError("", f"--seed {seed}", f"0 to {MOST_SEED}")
    folder = season_folder(folder, seed)
    try:
        if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
            raise SeasonError(str(folder), "is there and not empty", "a new folder or an empty one")
        folder.mkdir(parents=True, exist_ok=True)
        text = configuration(seed)
        house = house_of(text, folder)
        store_path(house).parent.mkdir()
        fill(house, seed)
        (folder / SEED).write_text(f"{seed}\n", encoding="utf-8")
        # Last, so that a folder with a configuration holds a whole record.
        house.path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise SeasonError(str(folder), str(error.strerror), "a folder that can be written") from error
    except StoreFailure as error:
        raise SeasonError.of(error) from error
    return _next(folder)


def tell_season(folder: Path | None, seed: int) -> str:
    """What went wrong in a season that was written, and what it should look like in the review. Raises SeasonError."""
    folder = season_folder(folder, seed)
    kept = _kept_seed(folder / SEED)
    if kept is None or not (folder / FILE).is_file():
        expected = "one that `eggroom demo --season` wrote"
        raise SeasonError(str(folder / FILE), "no invented season there", expected)
    lines = ["What went wrong in this invented season:"]
    for batch, fault in sorted(drawn(kept).faults.items()):
        lines += [f"  {batch}: {fault.words}.", f"    Look under: {', '.join(fault.findings)}"]
    return "\n".join(lines)


def _kept_seed(path: Path) -> int | None:
    try:
        seed = int(path.read_bytes()[:20])
    except (OSError, ValueError):
        return None
    return seed if 0 <= seed <= MOST_SEED else None


def configuration(seed: int, step_s: float = STEP_S) -> str:
    """The house of the season, as a configuration file."""
    lines = [
        f"# Invented season, seed {seed}. Nothing in it is real.",
        "",
        "[site]",
        'id = "season"',
        'name = "Invented season"',
        'zone = "UTC"',
        'data = "record"',
    ]
    for id_, node in NODES.items():
        shown = id_.replace("-", " ").capitalize()
        lines += ["", "[[machine]]", f'id = "{id_}"', f'name = "{shown}"', f'kind = "{id_.split("-")[0]}"']
        for probe in PROBES:
            lines += ["", "[[probe]]", f'node = "{node}"', f'probe = "{probe}"', f'machine = "{id_}"']
            lines += [f'position = "{probe}"', f"interval_s = {step_s:g}"]
    return "\n".join(lines) + "\n"


def house_of(text: str, folder: Path) -> House:
    """The house of such a configuration, which need not be written yet."""
    return build_house(parse_settings(tomllib.loads(text), FILE), load_profiles(None), folder / FILE)


def fill(house: House, seed: int, *, planted: bool = True, step_s: float = STEP_S) -> None:
    """Write the season into the house's record, in one transaction. Raises StoreFailure."""
    with contextlib.closing(open_writer(store_path(house))) as opened:
        group = group_of(drawn(seed), house.site.profiles, planted=planted, step_s=step_s)
        SqliteLedger(opened.connection).commit(group)


def _next(folder: Path) -> str:
    config = f"--config {shlex.quote(str(folder / FILE))}"
    names = ", ".join(name for name, *_ in PLACES)
    return "\n".join(
        [
            "An invented season: every bird, egg and reading in it is made up.",
            f"Written into {folder}: {len(PLACES)} batches ({names}), with readings, weighings and outcomes.",
            "No alarms are in it: nobody was woken. Two batches went wrong, each for one reason.",
            "",
            "Which two, and why? Type:",
            f"  eggroom outcomes {config}",
            f"  eggroom review hen-1 {config}",
            f"  eggroom egg show hen-1 {config}",
            f"  eggroom history hen-1 --html hen-1.html {config}",
            f"  eggroom archive --closed {config}",
            "",
            "And when you have made up your mind:",
            f"  eggroom demo --season {shlex.quote(str(folder))} --tell",
        ]
    )
