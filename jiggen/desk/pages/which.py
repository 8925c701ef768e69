"""Which jig for this pair: the one on the shelf to take, how it is set, or what to build."""

from __future__ import annotations

from urllib.parse import urlencode

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from jiggen.desk.folders import address_of
from jiggen.desk.forms import entered, fill
from jiggen.desk.site import Place, attempt, page
from jiggen.errors import InputError
from jiggen.report.sides import rail_readings
from jiggen.report.summary import WRONG_LINE
from jiggen.request.products import JIG
from jiggen.request.shelf import SHELF
from jiggen.request.which import WHICH
from jiggen.shelf.folders import find_for
from jiggen.shelf.told import NONE, set_words

JIG_PAGE = "/jig"
NAV = Place("/which", "Which jig?", "Which jig fits the pair on the bench, and how it is set.")


def which(request: Request) -> Response:
    """The pair as it was entered, and the answer."""
    words = entered(request.query_params)
    words.pop(SHELF.name, None)  # it is this workshop's
    filled, answer, build = fill(WHICH, words), None, {}
    if asked := filled.value:
        found, faults, _ = attempt(lambda: find_for(asked))
        if faults:
            filled = filled.refused(InputError(faults))
        else:
            answer, build = found
    best = answer.best if answer else None
    return page(
        request,
        "which.html",
        filled=filled,
        groups=[
            (group.title, [field for field in group.fields if field.row is not SHELF], group.open)
            for group in filled.groups
        ],
        answer=answer,
        best=best,
        nothing=NONE,
        set=set_words(best) if best else (),
        rails=rail_readings(best.record) if best else {},
        stops=best.record.drilling.stops if best else (),
        wrong=WRONG_LINE,
        made=address_of(best.shelved.jig.folder) if best else "",
        build=f"{JIG_PAGE}?{urlencode(build, doseq=True)}" if build else "",
        build_command=JIG.command_line(build) if build else "",
    )


ROUTES = [Route("/which", which)]
