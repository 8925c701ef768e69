"""One gauge from a printer's bed to a verified folder, and what is said when it is done."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from jiggen.design.gauge import Gauge
from jiggen.errors import Finding, InputError
from jiggen.files import MEASUREMENTS, parse_toml
from jiggen.record import GaugeRecord
from jiggen.report.folder import Progress, verified_folder
from jiggen.report.sheet.gauge import gauge_sheet
from jiggen.report.summary import to_print
from jiggen.verify import Verification, table, verdict

SHEET = "sheet.pdf"
USE = (
    "Print the parts as they lie, without supports; never turn them in the slicing program.",
    f"Measure as {SHEET} says, and write what you read into {MEASUREMENTS}.",
)


@dataclass(frozen=True, eq=False)
class FinishedGauge:
    """A gauge's folder, what is in it, and whether its verification passed."""

    folder: Path
    gauge: Gauge
    record: GaugeRecord
    verification: Verification


def build_gauge_print(
    gauge: Gauge,
    target: Path,
    *,
    force: bool = False,
    progress: Progress = lambda _: None,
) -> FinishedGauge:
    """Draw, write and verify a gauge; `target` is replaced whole or not at all.

    One that fails its verification is left beside it as ``…-failed``.  Raises InputError before
    anything is written when the target may not be replaced, as a jig's, or ``gauge.measured``
    when readings were written into its measurements, which `force` throws away.
    """
    if not force:
        _keep_measurements(target / MEASUREMENTS)

    def make(folder: Path) -> GaugeRecord:
        from jiggen.export.gauge import write_gauge
        from jiggen.solid.gauge import build_gauge

        model = build_gauge(gauge, lambda part: progress(f"solid: {part}"))
        return write_gauge(gauge, model, folder, lambda what: progress(f"files: {what}"))

    def finish(folder: Path, record: GaugeRecord) -> None:
        if record.verification and record.passed:  # a gauge that failed has no sheet to work from
            progress("sheet")
            (folder / SHEET).write_bytes(gauge_sheet(gauge, record.verification))

    folder, record, verification = verified_folder(
        target, make, finish=finish, force=force, progress=progress
    )
    return FinishedGauge(folder, gauge, record, verification)


def _keep_measurements(path: Path) -> None:
    """Raise InputError when a reading was written into the file at `path`."""
    if not path.is_file() or _is_blank(path.read_text(encoding="utf-8", errors="replace")):
        return
    raise InputError(
        Finding(
            "gauge.measured",
            "readings were written into the gauge that is there; nothing was written",
            where=str(path),
            key="out, force",
            hint="Copy the file away first, choose another folder, or force its replacement.",
        )
    )


def _is_blank(text: str) -> bool:
    """Whether `text` is a file of measurements with nothing filled in."""
    try:
        data = parse_toml(text)
    except ValueError:
        return False
    return not any(str(value).strip() for value in _filled_in(data))


def _filled_in(data: dict[str, Any]) -> Iterator[object]:
    for name in ("distance", "diameter", "height"):
        rows = data.get(name, [])
        yield from (row.get("value", "") for row in rows if isinstance(row, dict))
    yield from dict(data.get("fits", {})).values()


def gauge_summary(finished: FinishedGauge) -> str:
    """The result as plain lines."""
    verification = finished.verification
    lines = [table(verification), "", verdict(verification), ""]
    if not verification.passed:
        return "\n".join(
            [*lines, f"DO NOT PRINT. The files are kept for a look in {finished.folder}"]
        )
    x, y = finished.gauge.span
    return "\n".join(
        [
            *lines,
            *to_print(finished.record.beds),
            f"Pegs:     {x:g} mm apart along x, {y:g} mm along y",
            f"Files:    {finished.folder}",
            "",
            *USE,
        ]
    )
