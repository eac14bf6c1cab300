"""`eggroom egg file` and `egg save`: a photograph, or any other file, beside what is written of eggs; and out of the record again."""

from __future__ import annotations

import base64
from pathlib import Path

from monitor.cli.egg import written as write
from monitor.cli.egg.given import Attach, Save
from monitor.cli.frame import Failed, Wrong, check_files, show, write_bytes
from monitor.cli.record import book_and_water, house_of, looked_at
from monitor.cli.typed import names_eggs, typed_egg
from monitor.domain.eggs.entry import FILE_BYTES, Attached
from monitor.shown.entries import size_words


def attach(options: Attach) -> int:
    """One file, beside an entry, an egg, or the batch."""
    house, words = house_of(options.config), list(options.words)
    eggs = [words.pop(0)] if len(words) > 1 and names_eggs(words[0]) else []
    if not 1 <= len(words) <= 2:
        raise Wrong("file: expected [EGG] FILE [TEXT], a text of several words in quotes")
    path, text = Path(words[0]), "".join(words[1:])
    request = {
        "do": "attach",
        "name": path.name,
        "content": base64.b64encode(_read(path)).decode(),
        "text": text,
        "egg": typed_egg(eggs[0]) if eggs else None,
    }
    if options.entry is not None:
        beside = write.entry_of(options, house, str(options.entry))
        if eggs and beside.egg != request["egg"]:
            raise Wrong(f"file: egg {eggs[0]} and entry {options.entry}, {beside.where}, expected one of them")
        request |= {"beside": beside.number, "egg": beside.egg}
    return write.asked(options, house, request)


def _read(path: Path) -> bytes:
    try:
        if path.stat().st_size > FILE_BYTES:  # before it is read: it may be a film
            size = size_words(path.stat().st_size)
            raise Wrong(f"{path}: {size}, expected at most {size_words(FILE_BYTES)}: a smaller picture of it")
        content = path.read_bytes()
    except OSError as error:
        raise Wrong(f"{path}: {error.strerror}, expected a file") from error
    if not content:
        raise Wrong(f"{path}: empty, expected a file with something in it")
    return content


def save(options: Save) -> int:
    """What an entry keeps, into a file. Raises Wrong and Failed."""
    check_files((options.file,), json_wanted=options.json, sure=options.sure)
    with looked_at(options) as looked:
        book, _ = book_and_water(looked, only_book=True)
        found = next((e for e in book.entries if e.number == options.entry), None)
        if found is None or not isinstance(found.fact, Attached):
            kept = ", ".join(str(e.number) for e in book.entries if isinstance(e.fact, Attached)) or "none yet"
            raise Wrong(f"batch {book.batch.id}: entry {options.entry} is no file, expected one of: {kept}")
        content = looked.history.file(found.fact.sha256)
    if content is None:
        raise Failed(f"batch {book.batch.id}: {found.fact.name} is not in the record any more, expected its copy")
    write_bytes(options.file, content)
    data = {"file": str(options.file), "name": found.fact.name, "bytes": len(content), "sha256": found.fact.sha256}
    return show(options.json, data, f"{options.file}: {found.fact.name}, {size_words(len(content))}")
