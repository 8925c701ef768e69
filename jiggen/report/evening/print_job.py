"""An evening's jigs as one print job: beds in order, plastic and hours, and what is bought."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from itertools import groupby, zip_longest

from jiggen.evening import Plan
from jiggen.record import JigRecord
from jiggen.record.entries import PartKind, PrintBed
from jiggen.units import counted, number

# cm³ of plastic an hour, a rule of thumb: a general slicer's own times for three beds of one jig,
# at 60 to 80 mm/s with a 0.4 mm nozzle, come to 9.5, 10.1 and 10.2.
RATE = 10.0
BASIS = f"at {RATE:g} cm³ an hour, a rule of thumb; a fast printer takes a half or a third"
MOVED: tuple[PartKind, ...] = ("rail", "pinion", "knob")  # from jig to jig, with their screws


@dataclass(frozen=True)
class BedToPrint:
    """A bed of a jig, by the jig's number, with the pieces to print and those there are already."""

    jig: int
    file: str
    infill: int
    pieces: Mapping[str, int]
    left_out: Mapping[str, int]
    grams: float
    hours: float


@dataclass(frozen=True)
class Supply:
    """How many of something all jigs take, each for itself, and how many when they share."""

    what: str
    each: int
    shared: int


@dataclass(frozen=True)
class PrintJob:
    """What is printed and bought for the jigs that are built, `jigs` of them.

    They are used one after the other, so that parts which are the same to the byte, and the
    screws with them, may go from jig to jig: `moved` are those that each jig has from the ones
    before it.  `grams` would be printed if none went.
    """

    jigs: int
    beds: tuple[BedToPrint, ...]
    spared: int
    grams: float
    moved: Mapping[int, Mapping[str, int]]
    parts: tuple[Supply, ...]
    bought: tuple[Supply, ...]
    screws: tuple[tuple[float, int], ...]

    @property
    def hours(self) -> float:
        """How long one printer takes."""
        return sum(bed.hours for bed in self.beds)

    @property
    def printed(self) -> float:
        """Grams of plastic."""
        return sum(bed.grams for bed in self.beds)

    def words(self) -> Iterator[tuple[str, str]]:
        """The whole of it as lines, each with its heading."""
        spared = f"; {counted(self.spared, 'bed')} more if no part went from jig to jig"
        yield (
            "Print",
            f"{counted(len(self.beds), 'bed')}, {self.printed / 1000:.2f} kg of plastic"
            + (spared if self.spared else ""),
        )
        yield "Hours", f"about {self.hours:.0f}, with two printers {self.hours / 2:.0f}, {BASIS}"
        yield "First", f"{self.beds[0].file} of jig {self.beds[0].jig}, then as the jigs are used"
        for heading, supplies in (("Share", self.parts), ("To buy", self.bought)):
            yield from zip_longest((heading,), map(_supply, supplies), fillvalue="")
        if self.screws:
            sizes = (f"{count} of {number(length)} mm" for length, count in self.screws)
            yield "Screws", f"for the skis: {', '.join(sizes)}"

    def as_dict(self) -> dict[str, object]:
        """As plain values; masses in g."""
        return {
            "beds": [asdict(bed) for bed in self.beds],
            "beds_spared": self.spared,
            "hours": round(self.hours, 1),
            "grams": round(self.printed, 1),
            "grams_without_sharing": round(self.grams, 1),
            "parts": [asdict(one) for one in self.parts],
            "bought": [asdict(one) for one in self.bought],
            "screws_for_skis": [{"mm": length, "count": n} for length, n in self.screws],
        }


def pieces(counts: Mapping[str, int]) -> str:
    """Pieces of parts as words."""
    return ", ".join(f"{n} × {part}" for part, n in counts.items())


def _supply(one: Supply) -> str:
    more = f" ({one.each} with a set for each jig)" if one.each > one.shared else ""
    return f"{one.shared} × {one.what}{more}"


def print_job(plan: Plan, records: Sequence[JigRecord | None]) -> PrintJob | None:
    """The print job of the jigs of `plan` that have records; None where none has.

    Screws for the skis are those of every pair, whichever jigs there are.
    """
    there = {n: record for n, record in enumerate(records, start=1) if record}
    if not there:
        return None
    pool: Counter[str] = Counter()
    beds: list[BedToPrint] = []
    moved: dict[int, Counter[str]] = {}
    spared, grams = 0, 0.0
    for jig, record in there.items():
        need = _moved(record)
        spare = need & pool
        for bed in record.beds:
            left_out = _taken(bed, record, spare)
            moved[jig] = moved.get(jig, Counter()) + left_out
            new = Counter(bed.counts) - left_out
            masses = {part.name: part.printed for part in record.plastic.parts}
            grams += sum(masses[part] * n for part, n in bed.counts.items())
            if not new:
                spared += 1
                continue
            mass = sum(masses[part] * n for part, n in new.items())
            hours = mass / record.plastic.density / RATE
            infill = bed.advice.infill if bed.advice else 100
            both = dict(new), dict(left_out)
            beds.append(BedToPrint(jig, bed.file, infill, *both, mass, hours))
        pool |= need
    return PrintJob(
        len(there),
        tuple(beds),
        spared,
        grams,
        moved,
        tuple(_parts(list(there.values()))),
        tuple(_bought(list(there.values()))),
        tuple(sorted(_screws(plan).items(), reverse=True)),
    )


def _file_of(record: JigRecord) -> dict[str, str]:
    """By the name of a part that may go from jig to jig, the SHA-256 of its file."""
    return {
        part.name: record.files[part.file].sha256 for part in record.parts if part.kind in MOVED
    }


def _moved(record: JigRecord) -> Counter[str]:
    """How many pieces there are of each file that may go from jig to jig."""
    file_of = _file_of(record)
    counts = Counter[str]()
    for bed in record.beds:
        counts.update({file_of[part]: n for part, n in bed.counts.items() if part in file_of})
    return counts


def _taken(bed: PrintBed, record: JigRecord, spare: Counter[str]) -> Counter[str]:
    """The pieces of a bed that are there from an earlier jig: they are taken out of `spare`."""
    found = Counter[str]()
    for part, file in _file_of(record).items():
        found[part] = min(bed.counts.get(part, 0), spare[file])
        spare[file] -= found[part]
    return +found


def _parts(records: Sequence[JigRecord]) -> Iterator[Supply]:
    """Rails, pinions and knobs, those that are alike to the byte as one kind."""
    pools = [_moved(record) for record in records]
    for kind in MOVED:
        files = {
            file
            for record in records
            for part, file in _file_of(record).items()
            if any(one.name == part and one.kind == kind for one in record.parts)
        }
        each = sum(pool[file] for pool in pools for file in files)
        most = sum(max(pool[file] for pool in pools) for file in files)
        what = f"{kind}, of {counted(len(files), 'kind')}" if len(files) > 1 else kind
        yield Supply(what, each, most)


def _bought(records: Sequence[JigRecord]) -> Iterator[Supply]:
    """What is bought, line by line; screws and nuts of what goes from jig to jig go with it."""
    lines = sorted(
        (f"{one.name} {one.size} ({one.standard})", one.count, _goes_along(record, one.size))
        for record in records
        for one in record.hardware
    )
    for what, group in groupby(lines, key=lambda line: line[0]):
        counts = [(count, min(count, along)) for _, count, along in group]
        stay = sum(count - along for count, along in counts)
        each, most = sum(count for count, _ in counts), max(along for _, along in counts)
        yield Supply(what, each, stay + most)


def _goes_along(record: JigRecord, size: str) -> int:
    """How many screws or nuts of a size hold what goes from jig to jig."""
    moved = {placed.name for part in record.parts if part.kind in MOVED for placed in part.placed}
    return sum(
        size in (one.thread, f"{one.thread} x {one.length:g}") and bool(moved & {*one.pieces})
        for one in record.fasteners
    )


def _screws(plan: Plan) -> Counter[float]:
    """The screws that all skis take, by their length."""
    found = Counter[float]()
    for task in (task for jig in plan.jigs for task in jig.tasks):
        for length, count in task.drilled.drilling.screws.items():
            found[length] += count * len(task.skis)
    return found
