"""What a breeder writes down about eggs: one entry, of one kind, about one egg, some eggs, a tray, or the whole batch.

A fact (`Weighing`, `Candling`, ...) holds what was found, and cannot be made from nonsense: it raises EggError, one line for a
person. An `Entry` adds when it was so, when and by whom it was written, and about which eggs. How entries make a record, and
what cannot be true beside the others, is in `book`.

Units: g, mm, days. Times are aware UTC.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import MISSING, fields
from datetime import UTC, datetime
from decimal import Decimal
from typing import ClassVar

from monitor.domain.fixed import fixed
from monitor.domain.needs.profile import DRAW_DOWN as DRAW_DOWN
from monitor.domain.needs.profile import EXTERNAL_PIP as EXTERNAL_PIP
from monitor.domain.needs.profile import INTERNAL_PIP as INTERNAL_PIP
from monitor.domain.needs.profile import SIGNS as SIGNS
from monitor.domain.published.findings import FINDING
from monitor.domain.refusal import Refusal

# From a finch's egg to an ostrich's, and trays of hundreds: wide enough for any bird, narrow enough for a slip of the point.
EGG_G = (0.1, 3000.0)
GROSS_G = (0.1, 500_000.0)
LENGTH_MM = (5.0, 250.0)
FILE_BYTES = 4 * 1024 * 1024  # one photograph of a telephone, as a rule; a longer one is made smaller there
BATCH_FILES, BATCH_BYTES = 100, 64 * 1024 * 1024  # of one batch, so that its archive can take them
RECORD_BYTES = 1024 * 1024 * 1024  # of the whole record: a card has more, and a copy of it takes minutes
AIR_CELL_MM = (0.5, 120.0)
TURNS_HIGH, TURNED_H = (
    500,
    (0.1, 240.0),
)  # a turner that rolls each few minutes; from a look in the morning to ten days written in one
CHICK_G = (0.1, 50_000.0)  # from a finch's at hatch to an ostrich's that leaves its brooder
STORED_DAYS_HIGH = 60.0  # four weeks is long for any egg; more is a slip of the pen
# What is known of a scale that nobody named: half of the last digit that it was seen to show, as 1 sd (common practice). A cheap one may
# scatter more than it shows; then the weighings' own scatter about the line says so.
DIGIT_SHARE = 0.5
FINEST_DIGITS = 3  # decimals: more come out of a table's arithmetic, and not off a scale
SCALE_HIGH = 32  # characters of its id
FILE_NAME_HIGH, _SHA256 = 120, 64  # characters
NAME_HIGH = 60  # characters of a pair, a bird, a label, a ring: as they stand on a card
TEXT_HIGH = 500  # characters: a note, not a book
_LATER = ("scale", "digit_g")  # fields that facts did not have from the first
_LARGEST = 10**15  # JSON has whole numbers that no float can hold

CLEAR, FERTILE, ALIVE, EARLY_DEAD, DEAD, CRACKED, UNSURE = (
    "clear",
    "fertile",
    "alive",
    "early dead",
    "dead",
    "cracked",
    "not sure",
)
CANDLED = (CLEAR, FERTILE, ALIVE, EARLY_DEAD, DEAD, CRACKED, UNSURE)
EARLY, MIDDLE, LATE, AFTER_HATCH = "early", "middle", "late", "after hatch"
# Break-out classes of the trade, by thirds of the term, pips counted apart (a textbook chapter divides other species so).
DEATHS = (EARLY, MIDDLE, LATE, INTERNAL_PIP, EXTERNAL_PIP, AFTER_HATCH)
REMOVED = ("clear", "broken", "rotten", "given away", "other")


class EggError(Refusal):
    """An entry that cannot be true; the message is one line for a person."""


@fixed
class Laid:
    """When the egg was laid, and how many days it was stored before it was set; at least one of the two."""

    kind: ClassVar[str] = "laid"
    laid_at: datetime | None = None
    stored_days: float | None = None

    def __post_init__(self) -> None:
        if self.laid_at is None and self.stored_days is None:
            raise EggError("laid", "neither laid_at nor stored_days came", "one of them")
        _aware("laid: laid_at", self.laid_at)
        if self.stored_days is not None:
            _within("laid: days in store", self.stored_days, low=0.0, high=STORED_DAYS_HIGH)


@fixed
class Identity:
    """Who an egg is, as far as it is said here: of which pair, or which cock and hen, of which of their clutches; the breeder's own label; when it
    was taken from under the bird that sat on it; on which tray it lies, and where; the ring on its chick. What is not said stays as it was."""

    kind: ClassVar[str] = "identity"
    pair: str | None = None
    cock: str | None = None
    hen: str | None = None
    clutch: str | None = None
    label: str | None = None
    taken_at: datetime | None = None
    tray: str | None = None
    place: str | None = None
    ring: str | None = None

    def __post_init__(self) -> None:
        _aware("identity: taken_at", self.taken_at)
        if all(getattr(self, each.name) is None for each in fields(self)):
            raise EggError("identity", "nothing is said", f"one of {', '.join(each.name for each in fields(self))}")
        for name, value in ((each.name, getattr(self, each.name)) for each in fields(self)):
            if name != "taken_at" and value is not None and not 1 <= len(value.strip()) <= NAME_HIGH:
                raise EggError(f"identity: {name}", f"{value!r:.40}", f"1 to {NAME_HIGH} characters")

    @property
    def parents(self) -> str:
        """The pair, or the two birds: `P3`, `A12 x B7`; empty where nobody wrote either."""
        if self.pair is not None or (self.cock is None and self.hen is None):
            return self.pair or ""
        return f"{self.cock or '?'} x {self.hen or '?'}"

    @property
    def clutch_of(self) -> str:
        """The clutch with its parents, for each pair counts its own: `P3, clutch 2`; empty where no clutch is written."""
        if self.clutch is None:
            return ""
        return f"{self.parents}, clutch {self.clutch}" if self.parents else f"clutch {self.clutch}"


@fixed
class Size:
    """Length and largest breadth of an egg."""

    kind: ClassVar[str] = "size"
    length_mm: float
    breadth_mm: float

    def __post_init__(self) -> None:
        _within("size: length in mm", self.length_mm, low=LENGTH_MM[0], high=LENGTH_MM[1])
        _within("size: breadth in mm", self.breadth_mm, low=LENGTH_MM[0] / 2.0, high=self.length_mm)


@fixed
class Weighing:
    """What the scale showed, and the empty tray on it. error_g: the scale's error (1 sd), None where not known. scale: which of the house's, by
    its id; None where nobody said. digit_g: the last digit that it showed, as it was typed; None where that is not known."""

    kind: ClassVar[str] = "weighing"
    gross_g: float
    tare_g: float = 0.0
    error_g: float | None = None
    scale: str | None = None
    digit_g: float | None = None

    def __post_init__(self) -> None:
        if self.scale is not None and not 1 <= len(self.scale) <= SCALE_HIGH:
            raise EggError("weighing", f"scale {self.scale!r:.40}", f"the id of one, 1 to {SCALE_HIGH} characters")
        if self.digit_g is not None:
            _within("weighing: last digit in g", self.digit_g, low=0.0001, high=1000.0)
        _within("weighing: mass in g", self.gross_g, low=GROSS_G[0], high=GROSS_G[1])
        _within("weighing: tare in g", self.tare_g, low=0.0, high=GROSS_G[1])
        if self.tare_g >= self.gross_g:
            raise EggError("weighing", f"tare {self.tare_g:g} g", f"below the mass, {self.gross_g:g} g")
        if self.error_g is not None:
            _within("weighing: error in g", self.error_g, low=0.0001, high=1000.0)

    @property
    def shown_g(self) -> float:
        """The last digit that was written of it, in g: as typed, else 0.01 of 58.42, and 1 of a whole number."""
        if self.digit_g is not None:
            return self.digit_g
        decimals = -int(Decimal(repr(self.gross_g)).normalize().as_tuple().exponent)
        return float(10.0 ** -min(max(decimals, 0), FINEST_DIGITS))

    @property
    def net_g(self) -> float:
        """Without the tray."""
        return self.gross_g - self.tare_g


@fixed
class AirCell:
    """The edge of the air cell as it was drawn on the shell: how far it lies from the blunt end, in mm along the shell, where it is nearest, and where
    it is farthest once it slants; and how wide the cell is across."""

    kind: ClassVar[str] = "air-cell"
    near_mm: float
    far_mm: float | None = None
    across_mm: float | None = None

    def __post_init__(self) -> None:
        _within("air-cell: near in mm", self.near_mm, low=AIR_CELL_MM[0], high=AIR_CELL_MM[1])
        if self.far_mm is not None:
            _within("air-cell: far in mm", self.far_mm, low=self.near_mm, high=2.0 * AIR_CELL_MM[1])
        if self.across_mm is not None:
            _within("air-cell: across in mm", self.across_mm, low=AIR_CELL_MM[0], high=2.0 * AIR_CELL_MM[1])

    @property
    def deepest_mm(self) -> float:
        """Where it is farthest from the blunt end."""
        return self.near_mm if self.far_mm is None else self.far_mm


@fixed
class Turning:
    """Turned by hand, or by a machine that nobody asks: so often in the hours up to then."""

    kind: ClassVar[str] = "turned"
    times: float
    hours: float = 24.0

    def __post_init__(self) -> None:
        if not (0 <= self.times <= TURNS_HIGH and self.times == int(self.times)):
            raise EggError("turned", f"{self.times:g} times", f"a whole number from 0 to {TURNS_HIGH}")
        _within("turned: hours", self.hours, low=TURNED_H[0], high=TURNED_H[1])


@fixed
class TurningStopped:
    """Turned no more from then on; why, in the breeder's words."""

    kind: ClassVar[str] = "turning-stopped"
    text: str = ""

    def __post_init__(self) -> None:
        _short("turning-stopped", self.text)


@fixed
class Candling:
    """What was seen against the light: one of CANDLED."""

    kind: ClassVar[str] = "candling"
    found: str

    def __post_init__(self) -> None:
        _one_of("candling", self.found, CANDLED)


@fixed
class Sign:
    """A sign of the hatch to come: one of SIGNS."""

    kind: ClassVar[str] = "sign"
    sign: str

    def __post_init__(self) -> None:
        _one_of("sign", self.sign, SIGNS)


@fixed
class Helped:
    """The breeder helped the chick; how, in the breeder's words."""

    kind: ClassVar[str] = "helped"
    text: str = ""

    def __post_init__(self) -> None:
        _short("helped", self.text)


@fixed
class Sealed:
    """A crack in its shell was closed, with wax or glue; how, in the breeder's words."""

    kind: ClassVar[str] = "sealed"
    text: str = ""

    def __post_init__(self) -> None:
        _short("sealed", self.text)


@fixed
class Hatched:
    """Out of the shell, alive."""

    kind: ClassVar[str] = "hatched"


@fixed
class Dead:
    """Died, and when in its life: one of DEATHS."""

    kind: ClassVar[str] = "dead"
    stage: str

    def __post_init__(self) -> None:
        _one_of("dead", self.stage, DEATHS)


@fixed
class Removed:
    """Taken out of the machine without having hatched or died there: one of REMOVED."""

    kind: ClassVar[str] = "removed"
    why: str

    def __post_init__(self) -> None:
        _one_of("removed", self.why, REMOVED)


@fixed
class Split:
    """Went on in a batch of its own, by that name; its record goes on there."""

    kind: ClassVar[str] = "split"
    into: str

    def __post_init__(self) -> None:
        if not self.into:
            raise EggError("split", "no batch", "the name of the one it went on in")
        _short("split", self.into)


@fixed
class Found:
    """A finding of a problem hatch: an id of `findings.FINDINGS`."""

    kind: ClassVar[str] = "finding"
    finding: str

    def __post_init__(self) -> None:
        if self.finding not in FINDING:
            raise EggError("finding", f"{self.finding!r:.60}", f"one of the trade list ({', '.join(FINDING)})")


@fixed
class ChickMass:
    """What the chick of an egg weighs, with nothing else on the scale. error_g, scale: as of a weighing."""

    kind: ClassVar[str] = "chick-mass"
    mass_g: float
    error_g: float | None = None
    scale: str | None = None

    def __post_init__(self) -> None:
        _within("chick-mass: mass in g", self.mass_g, low=CHICK_G[0], high=CHICK_G[1])
        if self.error_g is not None:
            _within("chick-mass: error in g", self.error_g, low=0.0001, high=1000.0)
        if self.scale is not None and not 1 <= len(self.scale) <= SCALE_HIGH:
            raise EggError("chick-mass", f"scale {self.scale!r:.40}", f"the id of one, 1 to {SCALE_HIGH} characters")


@fixed
class Brooded:
    """The chick is in that machine from then on, by its id: whose air is its own."""

    kind: ClassVar[str] = "brooder"
    machine: str

    def __post_init__(self) -> None:
        if not 1 <= len(self.machine) <= SCALE_HIGH:
            raise EggError("brooder", f"{self.machine!r:.40}", f"the id of a machine, 1 to {SCALE_HIGH} characters")


@fixed
class SignedOff:
    """The chick needs its brooder no more, and its record ends; where it went, in the breeder's words."""

    kind: ClassVar[str] = "signed-off"
    text: str = ""

    def __post_init__(self) -> None:
        _short("signed-off", self.text)


OF_CHICK = (ChickMass, Brooded, SignedOff)  # what is said of what came out of an egg


@fixed
class Note:
    """Anything else, in the breeder's words."""

    kind: ClassVar[str] = "note"
    text: str

    def __post_init__(self) -> None:
        if not self.text.strip():
            raise EggError("note", "empty", "words")
        _short("note", self.text)


@fixed
class Attached:
    """A photograph, or any other file, as the record keeps it: once, by what is in it. name: as it was called; sha256: of its content, hexadecimal;
    size: in bytes; beside: the number of the entry that it belongs to, None for none."""

    kind: ClassVar[str] = "file"
    name: str
    sha256: str
    size: float
    text: str = ""
    beside: float | None = None

    def __post_init__(self) -> None:
        if not 1 <= len(self.name.strip()) <= FILE_NAME_HIGH or "/" in self.name:
            raise EggError("file", f"name {self.name!r:.40}", f"1 to {FILE_NAME_HIGH} characters, without /")
        if len(self.sha256) != _SHA256 or not set(self.sha256) <= set("0123456789abcdef"):
            raise EggError("file", f"sha256 {self.sha256[:20]!r}", f"{_SHA256} of 0-9 and a-f")
        if not 1 <= self.size <= FILE_BYTES:
            raise EggError("file", f"{self.size:g} bytes", f"1 to {FILE_BYTES}")
        if self.size != int(self.size) or (self.beside is not None and self.beside != int(self.beside)):
            raise EggError("file", "a part of a number", "whole numbers")
        _short("file", self.text)


@fixed
class LookAgain:
    """To be looked at again at that time."""

    kind: ClassVar[str] = "look-again"
    look_at: datetime
    text: str = ""

    def __post_init__(self) -> None:
        _aware("look-again: look_at", self.look_at)
        _short("look-again", self.text)


@fixed
class Withdrawn:
    """The entry that this one replaces was a mistake altogether."""

    kind: ClassVar[str] = "withdrawn"
    text: str = ""

    def __post_init__(self) -> None:
        _short("withdrawn", self.text)


Fact = (
    Laid
    | Identity
    | Size
    | Weighing
    | AirCell
    | Turning
    | TurningStopped
    | Candling
    | Sign
    | Helped
    | Sealed
    | Hatched
    | Dead
    | Removed
    | Split
    | Found
    | ChickMass
    | Brooded
    | SignedOff
    | Note
    | Attached
    | LookAgain
    | Withdrawn
)
FACTS: Mapping[str, type[Fact]] = {
    fact.kind: fact
    for fact in (
        Laid,
        Identity,
        Size,
        Weighing,
        AirCell,
        Turning,
        TurningStopped,
        Candling,
        Sign,
        Helped,
        Sealed,
        Hatched,
        Dead,
        Removed,
        Split,
        Found,
        ChickMass,
        Brooded,
        SignedOff,
        Note,
        Attached,
        LookAgain,
        Withdrawn,
    )
}


@fixed
class Entry:
    """A fact in its place.

    at: when it was so. written_at, who: when and by whom it was written. egg: the number of the egg, from 1; None: about
    `count` eggs without numbers (of the tray of that name, where given), or, where count is None too, about the batch.
    replaces: the number of the entry that this one corrects. number: its own, given by `book.add`.
    """

    at: datetime
    written_at: datetime
    who: str
    fact: Fact
    egg: int | None = None
    count: int | None = None
    tray: str = ""
    replaces: int | None = None
    number: int = 0

    def __post_init__(self) -> None:
        _aware("at", self.at)
        _aware("written_at", self.written_at)
        if not self.who.strip():
            raise EggError("who", "empty", "the name of who writes this")
        _short("who", self.who)
        _short("tray", self.tray)
        if self.egg is not None and (self.count not in (None, 1) or self.tray):
            raise EggError(f"egg {self.egg}", "a count or a tray came with it", "one egg or some")
        if self.tray and self.count is None:
            raise EggError(f"tray {self.tray}", "no count", "how many eggs lie on it")

    @property
    def where(self) -> str:
        """What messages begin with: `egg 4 weighing`, `tray A weighing`, `12 eggs candling`, `batch note`."""
        if self.egg is not None:
            return f"egg {self.egg} {self.fact.kind}"
        if self.tray:
            return f"tray {self.tray} {self.fact.kind}"
        return f"{'batch' if self.count is None else f'{self.count} eggs'} {self.fact.kind}"

    @property
    def eggs(self) -> int:
        """How many eggs it is about, where it says so; 1 for a numbered egg, 0 for the batch."""
        return 1 if self.egg is not None else self.count or 0

    @property
    def ends(self) -> bool:
        """Whether it says how it ended in this batch: hatched, dead, removed, or gone on in another."""
        return isinstance(self.fact, Hatched | Dead | Removed | Split)

    @property
    def pipped(self) -> bool:
        """Whether it says that the chick has pipped, inside or outside."""
        return isinstance(self.fact, Sign) and self.fact.sign in (INTERNAL_PIP, EXTERNAL_PIP)

    @property
    def word(self) -> str:
        """As in `after it was hatched`."""
        if isinstance(self.fact, Split):
            return f"moved to batch {self.fact.into}"
        return "pipped" if self.pipped else self.fact.kind

    def same_subject(self, other: Entry) -> bool:
        """Whether both are about the same egg, the same tray, or both about eggs without number or the batch."""
        return self.egg == other.egg and self.tray == other.tray

    def each_g(self, error_g: float = 0.0) -> tuple[float, float]:
        """(mass of one egg, its error as one sd) of a weighing; error_g stands where the scale's own is not known."""
        assert isinstance(self.fact, Weighing)
        own_g = error_g if self.fact.error_g is None else self.fact.error_g
        return self.fact.net_g / self.eggs, own_g / self.eggs


def fields_of(fact: Fact) -> dict[str, str | float | datetime | None]:
    """The fact's fields; those that came later only where they say something, so that what was written before is as it was."""
    values = {field.name: getattr(fact, field.name) for field in fields(fact)}
    return {name: value for name, value in values.items() if value is not None or name not in _LATER}


def plain(fact: Fact) -> dict[str, str | float | None]:
    """The fact's fields as the record keeps them; a time is RFC 3339."""
    values = fields_of(fact)
    return {name: value.isoformat() if isinstance(value, datetime) else value for name, value in values.items()}


def fact_of(kind: str, data: Mapping[str, str | float | None]) -> Fact:
    """The fact that `plain` gave. Raises EggError for an unknown kind, field or form."""
    if kind not in FACTS:
        raise EggError("entry", f"kind {kind!r:.40}", f"one of {', '.join(FACTS)}")
    try:
        values = {name: _of_time(value) if name.endswith("_at") else value for name, value in data.items()}
        return FACTS[kind](**values)  # type: ignore[arg-type]  # wrong ones raise
    except EggError:
        raise
    except (TypeError, ValueError, AttributeError, OverflowError) as error:
        raise _wrong_field(kind, data) or EggError(kind, f"{error}") from None


def _of_time(value: str | float | None) -> datetime | str | float | None:
    if not isinstance(value, str):
        return value
    at = datetime.fromisoformat(value)
    at.astimezone(UTC)  # one at the edge of the calendar in another zone raises here, and not where it is written
    return at


_TYPES: Mapping[str, tuple[tuple[type, ...], str]] = {
    "str": ((str,), "a text"),
    "float": ((int, float), "a number"),
    "datetime": ((str,), "a time such as 2026-03-01T18:00:00Z"),
}


def _wrong_field(kind: str, data: Mapping[str, str | float | None]) -> EggError | None:
    """Of a fact that cannot be made: the first field that is unknown, missing, or of another sort than it should be; None where none is."""
    known = {field.name: field for field in fields(FACTS[kind])}
    for name in data.keys() - known.keys():
        return EggError(kind, f"no field {name!r:.40}", ", ".join(known) or "none")
    for name, field in known.items():
        sort, _, may_be_none = str(field.type).partition(" | ")
        types, words = _TYPES[sort]
        if name not in data:
            if field.default is MISSING:
                return EggError(kind, f"no {name}", words)
            continue
        value = data[name]
        if value is None and not may_be_none:
            return EggError(kind, f"{name} empty", "its value")
        fits = value is None or isinstance(value, types)
        if isinstance(value, str) and sort == "datetime":
            try:
                _of_time(value)
            except (ValueError, OverflowError):
                fits = False
        if isinstance(value, int) and abs(value) > _LARGEST:
            fits = False
        if not fits:
            return EggError(kind, f"{name} {value!r:.40}", words)
    return None


def _within(where: str, value: float, *, low: float, high: float) -> None:
    if not low <= value <= high:
        raise EggError("", f"{where} {value:g}", f"{low:g} to {high:g}")


def _aware(where: str, at: datetime | None) -> None:
    if at is not None and at.utcoffset() is None:
        raise EggError("", f"{where} {at.isoformat()}", "a time with its zone")


def _one_of(where: str, value: str, known: tuple[str, ...]) -> None:
    if value not in known:
        raise EggError(where, f"{value!r:.40}", f"one of {', '.join(known)}")


def _short(where: str, text: str) -> None:
    if len(text) > TEXT_HIGH:
        raise EggError(where, f"{len(text)} characters", f"at most {TEXT_HIGH}")
