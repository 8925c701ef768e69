"""Scans in the workshop's folder: kept by what is in them, read once, fitted as often as wanted."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from starlette.datastructures import FormData

from jiggen.desk.dropped import read_each
from jiggen.desk.works import Work, Works
from jiggen.errors import Finding
from jiggen.files import make_folder, plain_name, write_whole
from jiggen.progress import keeping_notes, noted
from jiggen.request.scan import SCANS_FOLDER, JudgedScan, ScanReading, judge_scans

if TYPE_CHECKING:
    from jiggen.measure.scan.files import Picture
    from jiggen.measure.scan.network import Sightings

SUFFIXES = {"PNG": ".png", "TIFF": ".tif", "JPEG": ".jpg"}
SHOWN = (*SUFFIXES.values(), ".tiff", ".jpeg")
CANCELLED = "desk.cancelled"
MOST = 12  # scans in the folder that are offered, the latest


@dataclass(frozen=True)
class Read:
    """The scans that were read of those asked for, by name; `faulty` is why others were not.

    `work` reads one, if one is being read; `notes` are of single scans.
    """

    pictures: tuple[Picture, ...]
    notes: tuple[Finding, ...]
    faulty: tuple[tuple[str, tuple[Finding, ...]], ...]
    work: Work | None

    @property
    def cancelled(self) -> bool:
        """Whether the reading of one was cancelled."""
        return any(one.code == CANCELLED for _, findings in self.faulty for one in findings)


def keep_scans(form: FormData) -> list[str]:
    """Keep what was dropped, and give the names; raises InputError for other files."""

    def keep(path: Path) -> str:
        from jiggen.measure.scan.read import format_of

        suffix = SUFFIXES[format_of(path)]
        name = f"{plain_name(path.stem, 'scan')[:40]}-{_digest(path)[:8]}{suffix}"
        target = SCANS_FOLDER / name
        if not target.exists():
            make_folder(target.parent)
            write_whole(target, path.read_bytes())
        return target.name

    return read_each(form, keep)


def kept_scans() -> dict[str, Path]:
    """All scans in the workshop's folder by name, the latest first."""
    try:
        found = [
            one for one in SCANS_FOLDER.iterdir() if one.suffix.lower() in SHOWN and one.is_file()
        ]
    except OSError:
        return {}
    return {one.name: one for one in sorted(found, key=_changed, reverse=True)}


@lru_cache(64)
def _content(path: Path, changed: int) -> str:  # noqa: ARG001 - what was changed has other content
    return _digest(path)


def _digest(path: Path) -> str:
    """A mark of what is in the file."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _changed(path: Path) -> int:
    return path.stat().st_mtime_ns


def read_scans(
    works: Works,
    names: Sequence[str],
    address: str,
    *,
    rims: tuple[float, ...] = (),
    again: bool = False,
) -> Read:
    """What is known of the scans `names`; those that are not known yet are begun to be read.

    `rims` are those of `find_holes`.  What was cancelled is begun `again` if that is asked for.
    """
    there, begun = kept_scans(), works.latest()
    pictures: list[Picture] = []
    faulty: list[tuple[str, tuple[Finding, ...]]] = []
    notes, waited = list[Finding](), list[Work]()
    for name in names:
        if name not in there:
            message = "there is no such scan in the workshop's folder"
            faulty.append((name, (Finding("desk.no-scan", message, hint="Drop it once more."),)))
            continue
        whole = there[name].resolve()  # a process may be elsewhere
        key = f"scan {name} {_content(whole, _changed(whole))} {rims}"
        work = next((one for one in begun if one.key == key), None)
        if work is None or (again and work.state == "cancelled"):
            title = f"Read {name}"
            work = works.start(
                title, see, whole, rims, key=key, address=address, then=lambda _: address
            )
        if not work.over:
            work.address, work.then = address, lambda _: address  # with those dropped since
            waited.append(work)
        elif work.state == "done":
            picture, more = work.result
            pictures.append(picture)
            notes += more
        else:
            why = tuple(replace(one, where="") for one in work.findings)
            faulty.append((name, why or (Finding(CANCELLED, "its reading was cancelled"),)))
    return Read(tuple(pictures), tuple(notes), tuple(faulty), waited[0] if waited else None)


def see(path: Path, rims: tuple[float, ...] = ()) -> tuple[Picture, tuple[Finding, ...]]:
    """What a scan shows, and what was noted; done by a process."""
    from jiggen.measure.scan.files import look_at

    with keeping_notes():
        return look_at(path, rims), noted()


def judge(pictures: tuple[Picture, ...], reading: ScanReading) -> JudgedScan:
    """What the pictures say together; the last few answers are kept.  Raises InputError."""
    return _judged(
        pictures,
        tuple(reading.distances or ()),
        reading.caliper,
        reading.turned,
        reading.leave_out,
        tuple(reading.rename or ()),
    )


@lru_cache(8)
def _judged(
    pictures: tuple[Picture, ...],
    distances: tuple[str, ...],
    caliper: float,
    turned: str | None,
    leave_out: str | None,
    rename: tuple[str, ...],
) -> JudgedScan:
    reading = ScanReading([*distances], caliper, turned, leave_out, [*rename])
    return judge_scans(reading.fit(pictures))


@lru_cache(8)
def match(pictures: tuple[Picture, ...], turns: tuple[float, ...] | None) -> Sightings:
    """Which hole is which in the pictures, by the names it has at first.  Raises InputError."""
    from jiggen.measure.scan.files import match_pictures

    return match_pictures(pictures, turns)[0]


@lru_cache(16)
def jpeg(picture: Picture) -> bytes:
    """A small copy of it, for a page."""
    from jiggen.measure.scan.picture import jpeg_of

    return jpeg_of(picture)
