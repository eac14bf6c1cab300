"""Log lines: an event and key=value, to standard error; the service manager adds the time and keeps them."""

from __future__ import annotations

import logging
import sys


def start_logging(level: int = logging.INFO) -> None:
    """Log to standard error. Only our own events are of interest below a warning."""
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(logging.Formatter("%(levelname)s %(name)s %(message)s"))
    logging.basicConfig(level=logging.WARNING, handlers=[handler])
    logging.getLogger("eggroom").setLevel(level)
