"""`eggroom draft`: a profile of the house's own, drafted from its batches that went well, for its breeder to read."""

from __future__ import annotations

import tempfile
from pathlib import Path

from monitor.adapters.tables.causes import shipped_causes
from monitor.adapters.tables.profiles import load_profiles
from monitor.cli.frame import STDOUT, Asked, Failed, Parsers, Wrong, command, show, write_file
from monitor.cli.record import house_of, opened
from monitor.domain.fixed import fixed
from monitor.domain.needs.profile import ProfileError
from monitor.domain.refusal import one_of
from monitor.service.across.draft import NoDraft, draft_of
from monitor.shown.review.house import draft_toml

READ_IT = (
    "Read it before you use it: it is what your good batches had, and no proof that it is best. Nothing takes effect by it. To use it, put it"
    " into the folder that `profiles` names in your configuration, run `eggroom check`, and set a batch with --species {}."
)


@fixed(kw_only=True)
class Drafting(Asked):
    """draft"""

    species: str
    file: Path | None
    id: str | None


def add(parsers: Parsers) -> None:
    """Say what it takes."""
    draft = command(parsers["draft"], _draft, Drafting)
    draft.add_argument("species")
    draft.add_argument("file", nargs="?", type=Path, default=None, help="a new file; without one it is printed")
    draft.add_argument("--id", default=None, help="what the profile is called (default: the species, with -own)")


def _draft(options: Drafting) -> int:
    house, file = house_of(options.config), None if options.file == STDOUT else options.file
    site, species, id_ = house.site, options.species, options.id or f"{options.species}-own"
    if species not in site.profiles:
        raise Wrong(f"species {species!r}: no such profile, {one_of(species, sorted(site.profiles))}")
    if id_ in site.profiles:
        raise Wrong(f"--id {id_}: there already, expected a name that no profile has, or that one would take effect")
    if file is not None and (file.exists() or file.is_symlink()):
        raise Wrong(f"{file}: there already, expected a new file")
    with opened(house) as history:
        try:
            draft = draft_of(history, site, species, catalogue=shipped_causes(), now=options.utc())
        except NoDraft as error:
            raise Failed(f"draft: {error}") from error
    text = draft_toml(draft, id_, now=options.utc().astimezone(site.zone), unit=site.unit)
    _check(text, id_)
    if file is not None:
        write_file(file, text)
    told = READ_IT.format(id_)
    data = {"id": id_, "file": None if file is None else str(file), "toml": text, "read_it": told}
    return show(options.json, data, f"{text if file is None else f'{file}: written'}\n{told}")


def _check(text: str, id_: str) -> None:
    """See that the reader of everybody's own profiles takes it. Raises Failed."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"{id_}.toml"
        path.write_text(text, encoding="utf-8")
        try:
            load_profiles(path)[id_]
        except (ProfileError, KeyError) as error:
            raise Failed(f"draft: {error}; expected a sound profile, nothing was written") from error
