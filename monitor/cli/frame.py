"""What every command shares: exit codes, errors, reading arguments into typed values, printing. Exit codes: 0 done, 1 the thing
asked for failed, 2 the request was wrong; then one clear line on standard error, and no traceback.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import re
import shutil
import sys
import threading
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import fields
from datetime import datetime
from pathlib import Path
from typing import NoReturn, TextIO, TypeVar

import monitor
from monitor.domain.fixed import fixed
from monitor.domain.needs.profile import ProfileError
from monitor.domain.refusal import one_of
from monitor.domain.wall import WIDTH, filled

DONE, FAILED, WRONG = 0, 1, 2
STDOUT = Path("-")  # where a file is asked for
PATIENCE_S = 2.0  # work that takes longer says that it goes on
TALK_ON = ("run", "demo")  # commands that print as they go
NARROWEST = 20  # columns; a terminal that says fewer is none to read on
INTERRUPTED = 130  # what a shell says of a command that Ctrl-C ended
CONFIG_VARIABLE, DEFAULT_CONFIG = "EGGROOM_CONFIG", "/etc/eggroom/eggroom.toml"
PROGRAM = f"eggroom {monitor.__version__}"
Utc = Callable[[], datetime]


class Wrong(Exception):
    """A request that was wrong; one line."""


class Failed(Exception):
    """A thing asked for that failed; one line."""


class Unprinted(Exception):
    """What was to be said cannot be printed; one line."""


# --- arguments, read once into typed values


@fixed(kw_only=True)
class Given:
    """What a command is given. Each command has its own, with a field for each of its arguments. utc: the clock, to be asked for now."""

    utc: Utc


@fixed(kw_only=True)
class Asked(Given):
    """What most commands are given: a configuration file, and whether a program reads what they print."""

    config: Path
    json: bool


G = TypeVar("G", bound=Given)


class Parser(argparse.ArgumentParser):
    """Says what is wrong in one line. about: what the command is for."""

    about = ""

    # typeshed writes out what is only handed on here
    def __init__(self, *args, **kwargs) -> None:  # type: ignore[no-untyped-def]
        """As the parent's."""
        super().__init__(*args, **kwargs)
        # -0.3K and -2h are values. argparse takes them for options, for only plain numbers are numbers to it; no option begins with a digit.
        self._negative_number_matcher = re.compile(r"^-\.?\d")

    @property
    def of_text(self) -> set[str]:
        """Its options that take a text, which may have blanks."""
        actions = self._option_string_actions.items()
        return {o for o, a in actions if a.nargs is None and a.choices is None and a.type in (None, Path)}

    # typeshed has overloads here for what a subclass can only say once
    def parse_args(  # type: ignore[override]
        self, args: Sequence[str] | None = None, namespace: argparse.Namespace | None = None
    ) -> argparse.Namespace:
        """As the parent's; of a word too many it is said that several words in one go in quotes."""
        words = list(sys.argv[1:] if args is None else args)
        found, extra = self.parse_known_args(words, namespace)
        if extra:
            self.error(_too_many(extra, words, found.parser.of_text))
        return found

    def _check_value(self, action: argparse.Action, value: object) -> None:
        """As the parent's, with the word that is nearest first."""
        if action.choices is not None and value not in action.choices:
            raise argparse.ArgumentError(
                action, f"{str(value)[:40]!r}, {one_of(str(value), [*map(str, action.choices)])}"
            )

    def error(self, message: str) -> NoReturn:
        """One line, and exit code 2."""
        said = f"{self.prog}: {message.rstrip(', ')} (see {self.prog} --help)"
        sys.stderr.write(f"{_beside(said)}\n")
        sys.exit(WRONG)


def _too_many(extra: Sequence[str], words: Sequence[str], of_text: Collection[str]) -> str:
    """What is said of words that no argument takes. words: all that were typed; of_text: the options that take a text."""
    place = words.index(extra[0]) if extra[0] in words else 0
    if extra[0].startswith("-") or place < 2 or words[place - 2] not in of_text:
        return f"unrecognized arguments: {' '.join(extra)[:60]}"
    option, before = words[place - 2 : place]
    return f'{extra[0][:40]!r} stands by itself, expected several words in quotes: {option} "{before} {extra[0]}"'


class AnyOrder(Parser):
    """Takes words and options in any order: `egg weigh hen-1 --tray A --count 40 2310.5`."""

    _inside = False

    # typeshed has three overloads here for what a subclass can only say once
    def parse_known_args(self, args=None, namespace=None):  # type: ignore[no-untyped-def]
        """As the parent's, once more for each of the two rounds."""
        if self._inside:
            return super().parse_known_args(args, namespace)
        self._inside = True
        try:
            return self.parse_known_intermixed_args(args, namespace)
        finally:
            self._inside = False


class Verbs:
    """The verbs of one noun, such as `batch add`."""

    def __init__(self, parser: Parser, kind: type[Parser] = Parser) -> None:
        self._verbs = parser.add_subparsers(dest="verb", required=True, metavar="VERB", parser_class=kind)

    def command(self, name: str, act: Callable[[G], int], kind: type[G], *, about: str) -> Parser:
        """Add one."""
        parser = self._verbs.add_parser(name, help=about)
        parser.about = about
        return command(parser, act, kind)


def command(parser: Parser, act: Callable[[G], int], kind: type[G]) -> Parser:
    """Say what a command does, and what it is given: `kind` has a field for each argument that is added to the parser."""
    parser.description = parser.about.capitalize() + "."
    names = [each.name for each in fields(kind)]

    def perform(options: argparse.Namespace, utc: Utc) -> int:
        return act(kind(**{name: utc if name == "utc" else getattr(options, name) for name in names}))

    parser.set_defaults(act=perform, kind=kind, parser=parser)
    if "config" in names:
        default = os.environ.get(CONFIG_VARIABLE, DEFAULT_CONFIG)
        parser.add_argument("--config", type=Path, default=Path(default), metavar="FILE", help=f"default: {default}")
    if "json" in names:
        parser.add_argument("--json", action="store_true", help="for a program to read")
    return parser


class Progress:
    """Says at a terminal that work goes on, once it takes longer than PATIENCE_S; gone again before anything is printed."""

    def __init__(self) -> None:
        self._over = threading.Event()
        self._teller: threading.Thread | None = None

    def start(self) -> None:
        """From now on, where a person looks."""
        if sys.stderr.isatty():
            self._over.clear()
            self._teller = threading.Thread(target=self._tell, name="progress", daemon=True)
            self._teller.start()

    def stop(self) -> None:
        """No more; its line is gone."""
        self._over.set()
        if self._teller is not None:
            self._teller.join()
            self._teller = None

    def _tell(self) -> None:
        waited_s, wait_s = 0.0, PATIENCE_S
        while not self._over.wait(wait_s):
            waited_s += wait_s
            sys.stderr.write(f"\rworking, {waited_s:.0f} s ")
            sys.stderr.flush()
            wait_s = 1.0
        if waited_s:
            sys.stderr.write("\r\x1b[K")
            sys.stderr.flush()


PROGRESS = Progress()


def perform(parser: Parser, arguments: Sequence[str] | None, utc: Utc) -> int:
    """Read the arguments and do what they ask; the exit code."""
    try:
        return _performed(parser, arguments, utc)
    except (Wrong, ProfileError) as error:  # a shipped profile is read where it is first asked for
        return complain(str(error), WRONG)
    except Failed as error:
        return complain(str(error), FAILED)
    except KeyboardInterrupt:
        return INTERRUPTED
    except BrokenPipeError:  # who was to read it has seen enough
        _forget_output()
        return DONE
    except Unprinted as error:
        _forget_output()
        return complain(str(error), FAILED)


def _performed(parser: Parser, arguments: Sequence[str] | None, utc: Utc) -> int:
    try:
        options = parser.parse_args(arguments)
        if options.command not in TALK_ON:
            PROGRESS.start()
        return int(options.act(options, utc))
    finally:
        PROGRESS.stop()
        with _printing():
            sys.stdout.flush()  # here, where a closed pipe is still met by `perform`


# --- printing


@contextlib.contextmanager
def _printing() -> Iterator[None]:
    try:
        yield
    except BrokenPipeError:
        raise
    except OSError as error:  # a full disk, mostly
        raise Unprinted(f"output: {error.strerror}, expected that it can be written") from error


def _forget_output() -> None:
    """What is left to flush goes nowhere."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def complain(text: str, code: int) -> int:
    """Say on standard error what is wrong, each line of it; the code again."""
    PROGRESS.stop()
    for line in text.splitlines():
        sys.stderr.write(f"{_beside(f'eggroom: {line}')}\n")
    return code


def show(json_wanted: bool, data: object, text: str) -> int:
    """Print what was found, as plain values for a program or as text; DONE."""
    PROGRESS.stop()
    with _printing():
        print(json_text(data) if json_wanted else fitted(text, _wide(sys.stdout)))
    return DONE


def fitted(text: str, wide: int | None) -> str:
    """The text for so many columns: what goes on in a further line is set in. wide: None where nobody reads it as it is, but a program or a file."""
    return text if wide is None else "\n".join(filled(line, wide) for line in text.split("\n"))


def columns() -> int:
    """How wide a text is made, at most as is usual: as the terminal that is printed to; where it is none as COLUMNS says, as for `less`."""
    return min(WIDTH, _wide(sys.stdout) or WIDTH)


def _wide(stream: TextIO) -> int | None:
    """How many columns it is read in: those of its terminal, or those that COLUMNS says; None where it is none and nobody said."""
    if stream.isatty():
        return max(shutil.get_terminal_size((WIDTH, 24)).columns, NARROWEST)
    asked = os.environ.get("COLUMNS", "")
    return max(int(asked), NARROWEST) if asked.isascii() and asked.isdigit() else None


def _beside(text: str) -> str:
    """What is said on standard error: folded at a terminal, and in one line for a program."""
    return fitted(text, _wide(sys.stderr)) if sys.stderr.isatty() else text


def show_or_written(json_wanted: bool, files: Iterable[Path | None], *, data: object, text: Callable[[], str]) -> int:
    """Print what was asked for; where it was written into files, only which, but for --json. Nothing where standard output was one of them."""
    written = [file for file in files if file is not None]
    if STDOUT in written:
        return DONE
    return show(json_wanted, data, "\n".join(f"{file}: written" for file in written) if written else text())


def json_text(data: object) -> str:
    """What --json prints, without the end of the last line."""
    return json.dumps(data, ensure_ascii=False, indent=2, allow_nan=False)


def check_files(files: Iterable[Path | None], *, json_wanted: bool, sure: bool) -> None:
    """Before anything is worked out: see that no file is written over unasked, and that standard output (`-`) is asked of one thing.
    Raises Wrong, or Failed where the person says no."""
    wanted = [file for file in files if file is not None]
    if wanted.count(STDOUT) + (STDOUT in wanted and json_wanted) > 1:
        raise Wrong("-: standard output for several things, expected it for one")
    for file in wanted:
        if file != STDOUT and file.is_file():
            go_on(f"{file}: there already", "write over it", sure=sure)


def at_terminal() -> bool:
    """Whether a person can be asked: what is typed comes from a terminal, and what is asked goes to one."""
    return sys.stdin is not None and sys.stdin.isatty() and sys.stderr.isatty()


def agreed(question: str) -> bool:
    """Whether the person at the terminal says yes."""
    return (typed_at_terminal(f"{question} [y/N] ") or "").lower() in ("y", "yes")


def tell(text: str) -> None:
    """Say something to the person at the terminal beside what is printed."""
    PROGRESS.stop()
    sys.stderr.write(f"{_beside(text)}\n")


def typed_at_terminal(prompt: str) -> str | None:
    """What the person types there, without blanks around it; None at its end."""
    PROGRESS.stop()
    sys.stderr.write(f"{_beside(prompt.rstrip())} ")
    sys.stderr.flush()
    line = sys.stdin.readline()
    return line.strip() if line else None


def go_on(why: str, what: str, *, sure: bool) -> None:
    """Ask before something that cannot be undone, where nobody said that it is sure. Raises Failed for a no, Wrong where nobody can be asked."""
    if sure:
        return
    if not at_terminal():
        raise Wrong(f"{why}, expected --sure to {what}")
    if not agreed(f"{why}; {what}?"):
        raise Failed("nothing was changed")


def write_file(path: Path, text: str) -> None:
    """A file whole or not at all; of a link, the file that it leads to; `-` is standard output. Raises Failed."""
    if path == STDOUT:
        PROGRESS.stop()
        with _printing():
            sys.stdout.write(text)
        return
    write_bytes(path, text.encode())


def write_bytes(path: Path, content: bytes) -> None:
    """The same of what is no text, and never standard output. Raises Failed."""
    path = path.resolve()
    if path.exists() and not path.is_file():  # a folder; or a device, in whose place a file would be put
        raise Failed(f"{path}: not a file, expected one that can be written")
    part = path.with_name(path.name + ".part")
    try:
        part.write_bytes(content)
        part.replace(path)
    except OSError as error:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
        raise Failed(f"{path}: {error.strerror}, expected a file that can be written") from error


Parsers = Mapping[str, Parser]  # the commands of the table in `main`, by name
