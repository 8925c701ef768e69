"""A printed jig: what a caliper reads over pins in its bushes, and whether it may be used."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlencode

from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from jiggen.desk.folders import BuiltFolder, Standing, built_of, standing
from jiggen.desk.forms import Filled, Words, entered, fill
from jiggen.desk.pages.printer import choices, fitted
from jiggen.desk.site import Place, attempt, go, page, posted, works_of
from jiggen.desk.typed import TypedForm, typed_form
from jiggen.errors import CheckFailed, Finding, InputError
from jiggen.files import parse_toml
from jiggen.marks import read_jig_mark
from jiggen.record import JigRecord
from jiggen.report.summary import whose
from jiggen.request.keeping import keep as keep_file
from jiggen.request.keeping import kept_file
from jiggen.request.printed import PRINTED, JudgedPrint, PrintedRequest
from jiggen.request.shelf import SHELF_FILE, login_name

if TYPE_CHECKING:
    from jiggen.report.printed import Printout

NAV = Place("/printed", "Printed jig", "Measure it, and see whether it may be used.")
KEY = "jig"
OWN = ("limit", "caliper", "name")  # options of the command beside folder and file
HOW = (
    "Stand straight pins or drill shanks without play in the bushes, and measure over their "
    "outsides, close above the jig. Leave out what the caliper does not reach. Measure at room "
    "temperature."
)


def choose(request: Request) -> Response:
    """The jigs there are, and the one whose mark was typed."""
    typed = request.query_params.get("mark", "")
    jigs = choices(JigRecord, whose)
    faults: tuple[Finding, ...] = ()
    if typed.strip():
        mark, faults, _ = attempt(lambda: read_jig_mark(typed))
        if found := [one for one in jigs if mark and one.mark == mark]:
            return go(f"/printed/readings?{urlencode({KEY: found[0].key})}")
        message = f"no jig marked {mark} was built in this workshop"
        hint = "Look at the print again; the folder of an older one may have been moved away."
        faults = faults or (Finding("desk.no-jig", message, hint=hint),)
    return page(request, "printed.html", jigs=jigs, typed=typed, faults=faults)


@dataclass(frozen=True)
class Entered:
    """A jig's readings as they were entered, and what they say as far as they can be fitted."""

    folder: BuiltFolder
    record: JigRecord
    file: Path
    printout: Printout
    form: TypedForm
    filled: Filled[PrintedRequest]
    judged: JudgedPrint | None
    todo: tuple[Finding, ...]
    saved: bool

    @property
    def address(self) -> str:
        """Its page, with what the file does not keep."""
        more = {name: self.filled.words.get(name, ()) for name in OWN}
        return f"/printed/readings?{urlencode({KEY: self.folder.key, **more}, doseq=True)}"


def jig_of(words: Words) -> tuple[BuiltFolder, JigRecord]:
    """The jig that was built in the folder of that key."""
    return built_of(JigRecord, "".join(words.get(KEY, ())))


def look(folder: BuiltFolder, record: JigRecord, words: Words) -> Entered:
    """Read what was entered, and fit it.  Raises InputError for an invalid file."""
    from jiggen.inputs.document import parse_document, read_text
    from jiggen.measure.printer.read import KIND, PrintedFile
    from jiggen.report.printed import read_printout

    file = kept_file("readings", f"{folder.name}-{record.jig_mark}", ".toml")
    own = {name: words[name] for name in OWN if name in words}
    filled = fill(PRINTED, {"folder": [str(folder.path)], "file": [str(file)], **own})
    asked = filled.value or PrintedRequest(folder.path, file, None, None, None)
    printout = read_printout(folder.path)
    there = file.is_file()
    if there:
        text = parse_document(read_text(file, KIND), str(file), KIND).text
    else:
        text = _blank(folder.path, record.jig_mark, asked.limit, asked.caliper)
    about = {name: f"{PrintedFile.keys()[name]}." for name in ("units", "caliper", "over")}
    form = typed_form(text, words, about)
    judged, faults, _ = attempt(lambda: asked.judge(printout, form.document(str(file), KIND)))
    faults = tuple(one for one in faults if not one.code.endswith("nothing-measured"))
    form, todo = form.judged(faults)
    if judged:
        form = fitted(
            form, ("distance",), judged.found.fit, judged.against, judged.found.readings.unit.mm
        )
    return Entered(
        folder, record, file, printout, form, filled, judged, todo, there and form.text == text
    )


@lru_cache(8)
def _blank(
    folder: Path,
    mark: str,  # noqa: ARG001 - what is built there later has another
    limit: float | None,
    caliper: float | None,
) -> str:
    """The form for the jig of that `mark`; what is worth measuring takes a second to find."""
    from jiggen.report.printed import read_printout

    return PrintedRequest(folder, None, limit, caliper, None).blank(read_printout(folder))


def ask(request: Request) -> Response:
    """The readings beside pictures, and the verdict."""
    from jiggen.report.readings import printed_text
    from jiggen.report.where import where_on_jig

    words = entered(request.query_params)
    folder, record = jig_of(words)
    back = f"/printed/readings?{request.url.query}"
    stand = standing(folder, record, works_of(request), back)
    if stand.work:
        return go(f"/work/{stand.work.number}")
    refuse_failed(folder, stand)
    found = look(folder, record, words)
    judged, filled = found.judged, found.filled
    rows = parse_toml(found.form.text).get("distance", ())
    pairs = {(one, other) for one, other in (row["between"] for row in rows)}
    buttons = [("/printed/judge", "Keep the verdict")]
    fields = []
    if judged and judged.made and judged.found.verdict == "reprint":
        fields = [filled.fields["name"]]
        buttons = [("/printed/judge", "Keep the verdict, and the profile under that name")]
    return page(
        request,
        "printed_readings.html",
        title=f"Readings of {folder.name}",
        action="/printed/readings",
        base="/printed",
        key=(KEY, folder.key),
        mark=record.jig_mark,
        whose=whose(record),
        how=HOW,
        asked=[
            filled.fields["limit"],
            *([] if found.file.is_file() else [filled.fields["caliper"]]),
        ],
        form=found.form,
        total=sum(row.path[0] != "fits" for row in found.form.rows),
        saved=found.saved,
        where=where_on_jig(record, pairs),
        refused="Do not use it",
        against=judged.against if judged else (),
        warnings=(),
        good="Use it" if judged and not judged.against else "",
        todo=found.todo,
        text=printed_text(judged.found, judged.made) if judged else "",
        then="Keep the verdict",
        fields=fields,
        buttons=buttons,
        made=judged,
        command=filled.command,
    )


def refuse_failed(folder: BuiltFolder, stand: Standing) -> None:
    """Raise JiggenError for a jig that is being verified, or did not pass."""
    if stand.work:
        hint = "Go back, and try again in a moment."
        raise InputError.of("desk.verifying", "this jig is being verified", hint=hint)
    if not stand.passed:
        message = "this jig did not pass its verification: there is nothing to measure"
        failed = Finding("desk.failed", message, where=folder.name, hint="Build it again.")
        raise CheckFailed(stand.findings or [failed])


def _sent(request: Request, form: FormData) -> Entered:
    words = entered(form.multi_items())
    folder, record = jig_of(words)
    back = f"/printed/readings?{urlencode(words, doseq=True)}"
    stand = standing(folder, record, works_of(request), back)
    refuse_failed(folder, stand)
    return look(folder, record, words)


def keep(request: Request, form: FormData) -> Response:
    """Write the readings into a file in the workshop's folder, so that one can stop and go on."""
    found = _sent(request, form)
    keep_file(found.file, found.form.text, replace=True)
    return go(found.address)


def judge(request: Request, form: FormData) -> Response:
    """Keep the readings and, on the shelf, what they say; store the corrected profile if named."""
    found = _sent(request, form)
    asked, judged = found.filled.value, found.judged
    if asked is None:
        raise InputError(found.filled.findings)
    asked.check()
    if judged is None:
        message = "there are no readings yet"
        raise CheckFailed(found.todo or [Finding("printer.nothing-measured", message)])
    keep_file(found.file, found.form.text, replace=True)
    return keep_judged(request, found.folder, asked, judged, found.address)


def keep_judged(
    request: Request,
    folder: BuiltFolder,
    asked: PrintedRequest,
    judged: JudgedPrint,
    address: str,
) -> Response:
    """Keep a verdict on the shelf, and the corrected profile if it is named; go on from there."""
    from jiggen.report.readings import printed_data
    from jiggen.shelf.verdicts import keep_verdict

    asked.check()
    stored = asked.store(judged)
    data = printed_data(judged.found, judged.made)
    by = request.cookies.get("by") or login_name()
    owned = keep_verdict(SHELF_FILE, folder.path, judged.against, data, by)
    if stored:
        return go(f"/printer?{urlencode({'name': asked.name or ''})}#shown")
    return go(f"/shelf/{owned.mark}" if owned else address)


ROUTES = [
    Route("/printed", choose, methods=["GET"]),
    Route("/printed/readings", ask, methods=["GET"]),
    Route("/printed/keep", posted(keep), methods=["POST"]),
    Route("/printed/judge", posted(judge), methods=["POST"]),
]
