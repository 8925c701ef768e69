"""What is being done in the background: how far it is, and how it has ended."""

import json
from collections.abc import Iterator

from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response, StreamingResponse
from starlette.routing import Route

from jiggen.desk.site import go, page, posted, works_of
from jiggen.desk.works import Work

PATIENCE = 10.0  # s: a page without news hears that often that the desk is there


def show(request: Request) -> Response:
    """One work."""
    return page(request, "work.html", work=_asked(request))


def news(request: Request) -> Response:
    """A line whenever anything has changed; what it is is on the page."""
    works = works_of(request)

    def lines() -> Iterator[str]:
        for version in works.changes(PATIENCE):
            yield f"data: {json.dumps(version)}\n\n"

    return StreamingResponse(lines(), media_type="text/event-stream")


def cancel(request: Request, _: FormData) -> Response:
    """End a work."""
    work = _asked(request)
    works_of(request).cancel(work)
    return go(f"/work/{work.number}")


def _asked(request: Request) -> Work:
    work = works_of(request).find(request.path_params["number"])
    if work is None:
        raise HTTPException(404)
    return work


ROUTES = [
    Route("/work/{number:int}", show),
    Route("/work/{number:int}/cancel", posted(cancel), methods=["POST"]),
    Route("/news", news),
]
