"""The printer: its gauge's readings typed beside pictures, fitted, and saved as a profile."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from jiggen.desk.folders import BuiltFolder, built_folders, built_of
from jiggen.desk.forms import Filled, Words, entered, fill
from jiggen.desk.site import Place, attempt, go, page, posted
from jiggen.desk.typed import TypedForm, typed_form
from jiggen.errors import CheckFailed, Finding, InputError
from jiggen.files import MEASUREMENTS, write_whole
from jiggen.record import AnyRecord, GaugeRecord
from jiggen.request.printed import FIT, FitRequest, JudgedGauge

if TYPE_CHECKING:
    from jiggen.measure.adjustment import Adjustment
    from jiggen.report.where import Where

NAV = Place(
    "/printer",
    "Printer",
    "Type in the gauge's readings; jigs are then corrected for this printer.",
)
KEY = "gauge"
KINDS = ("distance", "diameter", "height")  # of readings, in the order in which they are fitted
NOTHING = "nothing-measured"  # said by the form itself: how many readings are open


@dataclass(frozen=True)
class Choice:
    """A built folder to choose."""

    key: str
    name: str
    mark: str
    about: str = ""


def choices(kind: type[AnyRecord], about: Any = lambda _: "") -> list[Choice]:
    """The built folders of one kind, the latest first."""
    found = []
    for folder in built_folders():
        record, _, _ = attempt(folder.record)
        if isinstance(record, kind):
            found.append(Choice(folder.key, folder.name, record.jig_mark, about(record)))
    return found


def overview(request: Request) -> Response:
    """Stored profiles, one of them in full, and the gauges there are."""
    from jiggen.measure.printer.profile import find_profile, stored_profiles
    from jiggen.report.readings import profile_text, profiles_text
    from jiggen.report.sheet.gauge import WHY

    stored = stored_profiles()
    names = [one.name for one in stored]
    name = request.query_params.get("name", "")
    shown = find_profile(name) if name in names else None
    return page(
        request,
        "printer.html",
        why=WHY,
        gauges=choices(GaugeRecord),
        text=profiles_text(stored),
        names=names,
        shown=shown,
        meaning=profile_text(shown) if shown else "",
        command=f"jiggen profile show {shown.name}" if shown else "jiggen profile list",
    )


@dataclass(frozen=True)
class Entered:
    """A gauge's readings as they were entered, and what they say as far as they can be fitted.

    `todo` is what to measure, `saved` whether the file holds all that was entered.
    """

    folder: BuiltFolder
    record: GaugeRecord
    file: Path
    form: TypedForm
    filled: Filled[FitRequest]
    judged: JudgedGauge | None
    todo: tuple[Finding, ...]
    saved: bool

    @property
    def address(self) -> str:
        """Its page, with what the file does not keep."""
        more = {name: self.filled.words.get(name, ()) for name in ("name", "material")}
        return f"/printer/readings?{urlencode({KEY: self.folder.key, **more}, doseq=True)}"


def gauge_in(words: Words) -> tuple[BuiltFolder, GaugeRecord]:
    """The gauge that was built in the folder of that key."""
    return built_of(GaugeRecord, "".join(words.get(KEY, ())))


def look(words: Words) -> Entered:
    """Read what was entered, and fit it.  Raises InputError for an invalid file."""
    from jiggen.inputs.document import parse_document, read_text
    from jiggen.measure.printer.read import KIND, GaugeFile, measurements_of

    folder, record = gauge_in(words)
    file = folder.path / MEASUREMENTS
    text = parse_document(read_text(file, KIND), str(file), KIND).text
    about = {name: f"{GaugeFile.keys()[name]}." for name in ("units", "caliper")}
    form = typed_form(text, words, about)
    own = {name: words[name] for name in ("name", "material") if name in words}
    filled = fill(FIT, {"file": [str(file)], **own})
    read, faults, _ = attempt(lambda: measurements_of(form.document(str(file), KIND)))
    judged = None
    if read:
        asked = FitRequest(file, None, "")
        judged, faults, _ = attempt(lambda: asked.judge(read))
    faults = tuple(one for one in faults if not one.code.endswith(NOTHING))
    form, todo = form.judged(faults)
    if judged:
        form = fitted(
            form, KINDS, judged.found.fit, judged.against, judged.found.measurements.unit.mm
        )
    return Entered(folder, record, file, form, filled, judged, todo, form.text == text)


def fitted(
    form: TypedForm, kinds: Sequence[str], fit: Adjustment, against: Sequence[Finding], mm: float
) -> TypedForm:
    """`form` with what each reading should be; beside one that contradicts the rest, what is said.

    `mm` is how long the caliper's unit is.
    """
    off = fit.residuals[: fit.equations.readings] / mm
    return form.fitted(kinds, off.tolist(), fit.wrong_row, against[0] if against else None)


def ask(request: Request) -> Response:
    """The readings beside pictures, and what they say."""
    from jiggen.report.sheet.gauge import MEASURE

    found = look(entered(request.query_params))
    judged, filled = found.judged, found.filled
    return page(
        request,
        "printer_readings.html",
        title=f"Readings of {found.folder.name}",
        action="/printer/readings",
        base="/printer",
        key=(KEY, found.folder.key),
        form=found.form,
        total=sum(row.path[0] in KINDS for row in found.form.rows),
        saved=found.saved,
        where=_pictures(found.record.inputs.model_dump_json()),
        how=MEASURE,
        refused="These readings contradict one another: no profile is made of them",
        against=judged.against if judged else (),
        warnings=judged.warnings if judged else (),
        good="",
        todo=found.todo,
        text=text_of(judged, filled) if judged else "",
        then="Store the profile",
        fields=[filled.fields[name] for name in ("name", "material")],
        buttons=[("/printer/store", "Store the profile")],
        command=filled.command,
    )


def text_of(judged: JudgedGauge, filled: Filled[Any]) -> str:
    """What the readings say, and the profile that they make under the name that was entered."""
    from jiggen.measure.printer.gauge_fit import profile_of
    from jiggen.report.readings import gauge_lines, profile_text

    lines = gauge_lines(judged.found)
    if not judged.against:
        name = "".join(filled.words.get("name", ())) or "not-named"
        made, _, _ = attempt(lambda: profile_of(judged.found, name, ""))
        lines += ["", profile_text(made)] if made else []
    return "\n".join(lines)


@lru_cache(8)
def _pictures(inputs: str) -> Where:
    """The pictures of the gauge that was built by those inputs of its record."""
    from jiggen.design.gauge import design_gauge
    from jiggen.design.settings import Bed, Bush, BushChoice
    from jiggen.record.entries import GaugeInputs
    from jiggen.report.where import where_on_gauge

    asked = GaugeInputs.model_validate_json(inputs)
    bed = Bed(asked.bed.x, asked.bed.y, asked.bed.z, asked.bed.rim)
    size = asked.bush
    bush: BushChoice = "none" if size == "none" else Bush(size.outside, size.length)
    return where_on_gauge(design_gauge(bed, bush, asked.caliper))


def _keep(found: Entered) -> None:
    if not found.saved:
        write_whole(found.file, found.form.text)


def keep(_: Request, form: FormData) -> Response:
    """Write the readings into the gauge's own file, so that one can stop and go on."""
    _keep(found := look(entered(form.multi_items())))
    return go(found.address)


def store(_: Request, form: FormData) -> Response:
    """Keep the readings, and store the profile that they make."""
    found = look(entered(form.multi_items()))
    asked = found.filled.value
    if asked is None:
        raise InputError(found.filled.findings)
    asked.check()
    if found.judged is None:
        hint = "Type in more of them."
        message = "there are no readings yet"
        raise CheckFailed(found.todo or [Finding("printer.nothing-measured", message, hint=hint)])
    if found.judged.against:
        raise CheckFailed(found.judged.against)
    _keep(found)
    asked.store(found.judged)
    return go(f"/printer?{urlencode({'name': asked.name or ''})}#shown")


ROUTES = [
    Route("/printer", overview, methods=["GET"]),
    Route("/printer/readings", ask, methods=["GET"]),
    Route("/printer/keep", posted(keep), methods=["POST"]),
    Route("/printer/store", posted(store), methods=["POST"]),
]
