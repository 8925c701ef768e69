"""Where one begins."""

from pathlib import Path

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from jiggen.desk.site import menu, page


def home(request: Request) -> Response:
    """A door to every job."""
    return page(request, "home.html", doors=menu(), folder=str(Path.cwd()))


ROUTES = [Route("/", home)]
