"""The command `eggroom`: the table of commands and the noun that each belongs to. Only the noun that was typed is loaded."""

from __future__ import annotations

import gc
import importlib
import logging
import sys
from collections.abc import Callable, Sequence

import monitor
from monitor.adapters.clock import utc_now
from monitor.cli.frame import INTERRUPTED, Parser, Parsers, Utc, perform

# Command -> the file of its noun, and what it is for. The order is that of --help.
COMMANDS = {
    "demo": ("tried.demo", "a simulated room, end to end; nothing else needed"),
    "run": ("house.house", "the daemon"),
    "check": ("house.house", "say what is wrong with a configuration"),
    "air": ("tried.air", "what air is: wet bulb, dew point, its pull on the egg's water"),
    "batch": ("batch.batch", "set, move, split, list and close batches"),
    "egg": ("egg.egg", "weigh, candle and follow eggs; what they lose, and what would mend it"),
    "room": ("room.alarms", "each machine against what its eggs need now"),
    "now": ("room.alarms", "what needs attention, and what is due next; the same as eggroom alone"),
    "alarms": ("room.alarms", "what stands, and what was not acknowledged"),
    "ack": ("room.alarms", "acknowledge an alarm"),
    "shelve": ("room.alarms", "quiet an alarm for a bounded time"),
    "unshelve": ("room.alarms", "take an alarm off its shelf"),
    "out-of-service": (
        "room.alarms",
        "tell nobody of an alarm until somebody puts it back, as for a machine under repair",
    ),
    "handling": ("room.alarms", "say that you work at an open machine: its air alarms wait, dangerous heat does not"),
    "cooling": (
        "room.cooling",
        "eggs that are cooled each day: expected then, and watched for the end; alone: what is declared",
    ),
    "calibrate": ("room.calibrate", "a probe held against a reference; alone: every calibration"),
    "history": ("batch.history", "what a batch lived through, or one egg of it"),
    "review": ("batch.review", "what was found in a batch's eggs, each published cause of it asked of the record"),
    "outcomes": ("batch.review", "how the closed batches ended, and what their air goes together with"),
    "replay": ("tried.replay", "a recorded stream through the same path"),
    "refused": ("room.events", "messages that were not understood, and probes nobody configured"),
    "events": ("room.events", "what else happened: openings, nodes, gaps, moves, the clock, the broker"),
    "contact": ("house.house", "whom to tell"),
    "replace": (
        "house.replace",
        "a probe, a node or a machine that another took the place of: in the configuration, and in the record from then on",
    ),
    "profiles": ("room.rules", "the species, and what one of them needs"),
    "draft": ("batch.draft", "a profile of your own, drafted from your batches that went well, for you to read"),
    "rules": ("room.rules", "the rules in force for each machine now, and whose number each is"),
    "archive": ("batch.archive", "one batch with everything about it in one file, to keep or to read elsewhere"),
    "backup": ("batch.archive", "a whole, checked copy of the record"),
    "completion": ("house.completion", "lets bash complete commands, batches, machines and species: see README"),
    "health": ("house.health", "how the daemon and what it needs are doing"),
}

ALONE = "now"  # what is meant where nothing was typed
# Words of before, which scripts may have: understood for one version more, and told nowhere.
OF_BEFORE = {"doctor": "health"}


def main(arguments: Sequence[str] | None = None, *, utc: Utc = utc_now) -> int:
    """The command `eggroom`; its exit code. utc: the clock."""
    # What goes wrong is told by the command itself, in its one line; `run` logs in its own way.
    logging.getLogger("eggroom").addHandler(logging.NullHandler())
    typed = _in_words_of_now(sys.argv[1:] if arguments is None else arguments)
    commands = [word for word in typed if word in COMMANDS][:1]
    try:
        return perform(parser_of(commands, alone=bool(commands) and commands == list(typed[:1])), typed, utc)
    except KeyboardInterrupt:  # while its parts are loaded still
        return INTERRUPTED


def _in_words_of_now(typed: Sequence[str]) -> Sequence[str]:
    """The same with the word of now for a command of before, and for none."""
    return [OF_BEFORE.get(typed[0], typed[0]), *typed[1:]] if typed else [ALONE]


def parser_of(commands: Sequence[str], *, alone: bool = False) -> Parser:
    """The parser that knows every command by name, and what these of them take. alone: it knows no other nouns, for none was typed."""
    nouns = dict.fromkeys(COMMANDS[name][0] for name in commands)
    names = [name for name, (noun, _) in COMMANDS.items() if not alone or noun in nouns]
    parser = Parser(prog="eggroom", description="Watches incubators for a bird breeder.")
    parser.add_argument("--version", action="version", version=f"eggroom {monitor.__version__}")
    known = parser.add_subparsers(dest="command", required=True, metavar="COMMAND", parser_class=Parser)
    parsers = {name: known.add_parser(name, help=COMMANDS[name][1]) for name in names}
    for name, each in parsers.items():
        each.about = COMMANDS[name][1]
    for noun in nouns:
        _loaded(noun)(parsers)
    return parser


def _loaded(noun: str) -> Callable[[Parsers], None]:
    """The function by which a noun says what its commands take."""
    gc.disable()  # what loading makes stays for good: to look it through again and again costs a start
    try:
        add: Callable[[Parsers], None] = importlib.import_module(f"monitor.cli.{noun}").add
    finally:
        gc.freeze()  # and is not looked through afterwards either
        gc.enable()
    return add


if __name__ == "__main__":
    sys.exit(main())
