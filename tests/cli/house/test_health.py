"""`eggroom health`, with a running daemon."""

from __future__ import annotations

import json
import re
from pathlib import Path

from tests.cli.commands import Capture
from tests.running import typed


def test_health(capsys: Capture, running: Path) -> None:
    """`health` looks at everything, one line each, and ends with 1 when something is bad: here a hatcher nobody has heard."""
    code, out, err = typed(capsys, "health", config=running)
    assert (code, err) == (1, "")
    assert "BAD probes: silent: Hatcher 1 (node-b/top)\n" in out
    assert out.startswith("1 to look at\n\nBAD probes: ")
    assert re.search(r"^(ok |BAD) clock: \d\d [A-Z][a-z]{2} \d{4} \d\d:\d\d: ", out, re.MULTILINE)
    code, out, _ = typed(capsys, "health", "--json", config=running)
    facts = json.loads(out)
    assert [check["what"] for check in facts["checks"]] == [
        "eggroom", "configuration", "clock", "daemon", "broker", "store", "probes", "notices", "record", "messages", "disk", "contact sam",
    ]  # fmt: skip
    assert facts["daemon"]["messages"] == 20
