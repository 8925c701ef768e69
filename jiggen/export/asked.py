"""What was asked for, as texts for the folder: the job, its pattern, and the printer's figures."""

from collections.abc import Mapping
from dataclasses import asdict
from pathlib import PurePath

from jiggen.design.settings import Bed, Bush, BushChoice
from jiggen.files import JOB_FILE, PATTERN_FILE, PRINTER_FILE
from jiggen.inputs.document import toml_text
from jiggen.job import Job
from jiggen.layout import Layout
from jiggen.measure.printer.profile import Profile
from jiggen.pattern.model import Pattern
from jiggen.pattern.write import text_of
from jiggen.record.entries import Asked

Texts = dict[str, str]
"""Texts by the name of their file."""
HEAD = """\
# What was asked for; mm and degrees. The inputs in manifest.json follow from this and from the
# files named here; jiggen check works them out again, with every hole, and compares.

"""


def asked_of_jig(job: Job) -> Texts:
    """The texts of a jig.  Raises InputError for a pattern that no file could hold."""
    values = {
        "boots": job.boots,
        "shift": job.shift,
        "core": job.core,
        "side": job.side,
        **asdict(job.settings),
        "ski_in_hand": asdict(job.measured),
        "drilling_limits": asdict(job.limits),
    }
    return _texts("jig", job.copy, values, job.pattern, job.printer)


def asked_of_trial(
    pattern: Pattern,
    layout: Layout,
    bed: Bed,
    printer: Profile | None,
    plate_hole: float | None = None,
    copy: int = 1,
) -> Texts:
    """The texts of a trial plate.  Raises as `asked_of_jig`."""
    values = {
        "boots": (layout.boot, layout.boot),
        "shift": layout.mount_shift,
        "core": layout.core,
        "side": layout.side,
        "bed": asdict(bed),
        "plate_hole": plate_hole,
    }
    return _texts("trial", copy, values, pattern, printer)


def asked_of_gauge(bed: Bed, bush: BushChoice, caliper: float, copy: int = 1) -> Texts:
    """The text of a gauge."""
    in_hand = asdict(bush) if isinstance(bush, Bush) else bush
    return _texts("gauge", copy, {"bed": asdict(bed), "bush": in_hand, "caliper": caliper})


def asked_entry(texts: Mapping[str, str]) -> Asked:
    """The names of the files, for the record."""
    return Asked.model_validate({PurePath(name).stem: name for name in texts})


def _texts(
    kind: str,
    copy: int,
    values: Mapping[str, object],
    pattern: Pattern | None = None,
    printer: Profile | None = None,
) -> Texts:
    others = {}
    if pattern:
        others[PATTERN_FILE] = text_of(pattern)
    if printer:
        others[PRINTER_FILE] = printer.text
    files = {PurePath(name).stem: name for name in others}
    head = {"job": 1, **({"copy": copy} if copy != 1 else {})}
    job = toml_text({**head, **_known({"kind": kind, **files, **values})})
    return {JOB_FILE: HEAD + job, **others}


def _known(values: Mapping[str, object]) -> dict[str, object]:
    """`values`, in tables too, without those that are not known: TOML has no word for it."""
    return {key: _plain(value) for key, value in values.items() if value is not None}


def _plain(value: object) -> object:
    """A length as 305.0, whichever kind of number it was given as."""
    if isinstance(value, Mapping):
        return _known(value)
    if isinstance(value, tuple):
        return [_plain(one) for one in value]
    return value if isinstance(value, str) else float(value)  # type: ignore[arg-type]
