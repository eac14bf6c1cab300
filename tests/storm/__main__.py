"""`python -m tests.storm files`: damage and loss of the record's files; --short as among the tests, --broken without the second file, which must fail."""

from __future__ import annotations

import argparse
import tempfile
from pathlib import Path

from tests.storm.files import storms


def main() -> int:
    """0 where nothing was lost."""
    parser = argparse.ArgumentParser(prog="python -m tests.storm")
    parser.add_argument("storm", choices=("files",))
    parser.add_argument("--short", action="store_true")
    parser.add_argument("--broken", action="store_true")
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        failed = 0
        for told in storms(Path(folder), short=asked.short, broken=asked.broken, seed=asked.seed):
            print(told.line(), flush=True)
            failed += not told.met
    return min(failed, 1)


if __name__ == "__main__":
    raise SystemExit(main())
