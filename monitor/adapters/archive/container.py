"""The file of an archive: a ZIP of named members, and a manifest that tells the size and the SHA-256 of each.

The same members make the same bytes: they come in the order given, all of one time and one mode. (Another build of zlib may press
them otherwise; the checksums are of what is inside.) A file that comes from somewhere else is not trusted: how much it would become
is looked at before anything is read, and nothing is ever written to a name that stands in it.
"""

from __future__ import annotations

import hashlib
import json
import os
import zipfile
import zlib
from collections.abc import Collection, Mapping
from pathlib import Path
from typing import IO

from monitor.domain.refusal import Refusal

FORMAT, FORMAT_VERSION = "eggroom batch archive", 1
MANIFEST = "manifest.json"
BOOK, RECORD, READINGS = "book.json", "record.json", "readings/"  # members by which a folder of archives is known
# 21 days of four probes each 10 s are 22 MB unpacked, 4.4 MB packed, measured; half a GB is as much as a small board can hold.
MIB = 1024 * 1024
MAX_FILE, MAX_UNPACKED = 256 * MIB, 512 * MIB  # bytes: the file, and all that is in it
MAX_MEMBERS, MAX_DIRECTORY, MAX_MANIFEST = 256, 64 * 1024, 64 * 1024  # members; bytes of the ZIP's list, and of ours
PART = ".eggroom-part"  # behind the name of a file that is not whole yet: whatever ends so is ours
_TIME = (1980, 1, 1, 0, 0, 0)  # the first that a ZIP can tell
_MODE = 0o100644 << 16
_UNIX = 3
_END, _END_BYTES = b"PK\x05\x06", 22  # the ZIP's last record, without a comment: ours has none
_ZIP64, _ZIP64_BYTES = b"PK\x06\x07", 20  # what would stand before it in a ZIP with more, or more in it, than ours
_ENCRYPTED = 0x1


class ArchiveError(Refusal):
    """A file that is no archive that can be read, or a batch that is too big for one; one line."""


def pack(path: Path, head: Mapping[str, str], members: Mapping[str, bytes]) -> int:
    """Write the members, with what `head` says of them in the manifest. Returns the file's size in bytes.

    What is written is on the disk, and not only on its way there. Raises ArchiveError for more than `unpack` would read, OSError where
    the file cannot be written.
    """
    total = sum(map(len, members.values()))
    if total > MAX_UNPACKED or len(members) >= MAX_MEMBERS:
        came = f"{len(members)} parts of {_mib(total)} together"
        raise ArchiveError(str(path), came, f"at most {MAX_MEMBERS - 1} of {_mib(MAX_UNPACKED)}")
    listed = {name: {"bytes": len(data), "sha256": hashlib.sha256(data).hexdigest()} for name, data in members.items()}
    manifest = {"format": FORMAT, "format_version": FORMAT_VERSION, **head, "members": listed}
    text = json.dumps(manifest, ensure_ascii=False, indent=1).encode() + b"\n"
    with path.open("wb") as stream:
        with zipfile.ZipFile(stream, "w", allowZip64=False) as file:
            for name, data in {MANIFEST: text, **members}.items():
                info = zipfile.ZipInfo(name, _TIME)
                info.compress_type, info.external_attr, info.create_system = zipfile.ZIP_DEFLATED, _MODE, _UNIX
                file.writestr(info, data, compresslevel=6)
        stream.flush()
        os.fsync(stream.fileno())
        size = stream.tell()
    if size > MAX_FILE:
        raise ArchiveError(str(path), _mib(size), f"at most {_mib(MAX_FILE)}")
    return size


def unpack(path: Path, only: Collection[str] | None = None) -> tuple[dict[str, object], dict[str, bytes]]:
    """(manifest, members by name), each member checked; only: those alone that are named here. Raises ArchiveError."""
    try:
        with path.open("rb") as stream:
            _look_at_the_end(path, stream)
            with zipfile.ZipFile(stream) as file:
                infos = _infos(path, file)
                manifest, listed = _manifest(path, file, infos)
                wanted = {name: about for name, about in listed.items() if only is None or name in only}
                return manifest, _members(path, file, infos, listed=wanted)
    except OSError as error:
        raise ArchiveError(str(path), str(error.strerror or error), "a file that can be read") from error
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError) as error:
        raise ArchiveError(str(path), f"damaged ({str(error)[:80]})", "the archive as it was written") from error


def _look_at_the_end(path: Path, stream: IO[bytes]) -> None:
    """See, before the ZIP's list is read, that it is one of ours: how long the list is stands in the last bytes of the file."""
    size = stream.seek(0, os.SEEK_END)
    if size > MAX_FILE:
        raise ArchiveError(str(path), _mib(size), f"at most {_mib(MAX_FILE)}")
    stream.seek(max(0, size - _END_BYTES - _ZIP64_BYTES))
    tail = stream.read()
    end = tail[-_END_BYTES:]
    if len(end) < _END_BYTES or not end.startswith(_END) or tail.startswith(_ZIP64):
        raise _no_archive(path, "no ZIP, or cut off")
    entries, listed = int.from_bytes(end[10:12], "little"), int.from_bytes(end[12:16], "little")
    if entries > MAX_MEMBERS or listed > MAX_DIRECTORY:
        raise _no_archive(path, f"{entries} parts, at most {MAX_MEMBERS} can be")
    stream.seek(0)


def _infos(path: Path, file: zipfile.ZipFile) -> dict[str, zipfile.ZipInfo]:
    """The members by name, once it is seen that they are no more than they may be."""
    infos = {info.filename: info for info in file.infolist()}
    if MANIFEST not in infos or len(infos) != len(file.infolist()):
        raise _no_archive(path, f"without {MANIFEST}, or with a part twice")
    for info in infos.values():
        if info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED) or info.flag_bits & _ENCRYPTED:
            raise _no_archive(path, f"{info.filename:.60}: encrypted, or pressed in another way")
    total = sum(info.file_size for info in infos.values())
    if total > MAX_UNPACKED:
        raise ArchiveError(str(path), f"{_mib(total)} when unpacked", f"at most {_mib(MAX_UNPACKED)}")
    if infos[MANIFEST].file_size > MAX_MANIFEST:
        raise _no_archive(path, f"{MANIFEST} of {infos[MANIFEST].file_size} bytes")
    return infos


def _manifest(
    path: Path, file: zipfile.ZipFile, infos: Mapping[str, zipfile.ZipInfo]
) -> tuple[dict[str, object], dict[str, object]]:
    """The manifest, and what it lists of the members by name."""
    try:
        manifest = json.loads(file.read(infos[MANIFEST]))
    except (ValueError, RecursionError):
        raise _no_archive(path, f"{MANIFEST} is not JSON") from None
    if not isinstance(manifest, dict) or manifest.get("format") != FORMAT:
        raise _no_archive(path, f"{MANIFEST} is of something else")
    version = manifest.get("format_version")
    if version != FORMAT_VERSION or isinstance(version, bool):
        by = str(manifest.get("program", "?"))[:40]
        newer = isinstance(version, int) and version > FORMAT_VERSION
        known = f"at most {FORMAT_VERSION}: a newer eggroom made it, and can read it" if newer else f"{FORMAT_VERSION}"
        raise ArchiveError(str(path), f"format version {version!r:.20}, by {by}", known)
    members = manifest.get("members")
    if not isinstance(members, dict) or members.keys() != infos.keys() - {MANIFEST}:
        raise ArchiveError(str(path), f"its parts are not those of its {MANIFEST}", "the archive as it was written")
    return manifest, members


def _members(
    path: Path, file: zipfile.ZipFile, infos: Mapping[str, zipfile.ZipInfo], *, listed: Mapping[str, object]
) -> dict[str, bytes]:
    found = {}
    for name, about in listed.items():
        data = file.read(infos[name])
        sha256, size = (about.get("sha256"), about.get("bytes")) if isinstance(about, dict) else (None, None)
        wrong = "checksum" if hashlib.sha256(data).hexdigest() != sha256 else "size" if len(data) != size else ""
        if wrong:
            expected = "the archive as it was written: it was changed, or damaged"
            raise ArchiveError(f"{path}: {name:.80}", f"its {wrong} is wrong", expected)
        found[name] = data
    return found


def _no_archive(path: Path, why: str) -> ArchiveError:
    return ArchiveError(str(path), f"not an archive of a batch ({why})", "a file that `eggroom archive` wrote")


def _mib(size: int) -> str:
    return f"{size / MIB:.0f} MB"
