"""A jig: asked for, seen as it is typed, built."""

from dataclasses import dataclass
from typing import Any

from markupsafe import Markup
from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from jiggen.desk.forms import Filled, entered, fill
from jiggen.desk.site import Place, go, page, posted, works_of
from jiggen.errors import Finding, InputError, JiggenError
from jiggen.request.products import JIG, JigRequest

NAV = Place("/jig", "A jig", "Choose a pattern, type boot and ski, build, print.")


@dataclass(frozen=True)
class Made:
    """What a process has built, for the page: where, whether it passed, what to know."""

    folder: str
    passed: bool
    text: str
    warnings: tuple[Finding, ...]


def build_asked(asked: Any, target: Any, force: bool) -> Made:
    """Build in a process what was asked for.  Raises InputError and CheckFailed."""
    made = asked.build(target, force=force)
    text = asked.summary(made)
    return Made(str(made.folder), made.verification.passed, text, made.warnings)


def ask(request: Request) -> Response:
    """The form, with the holes as they are entered."""
    filled = fill(JIG, entered(request.query_params))
    drawing = None
    if filled.value:
        try:
            drawing = _drawn(filled.value)
        except JiggenError as error:
            filled = filled.refused(error)
    return page(request, "jig.html", filled=filled, drawing=drawing, query=request.url.query)


def _drawn(asked: JigRequest) -> Markup:
    from jiggen.export.hole_plan import layout_svg

    job = asked.job()
    svg = layout_svg(job.lay_out(), job.skis)
    return Markup(svg[svg.index("<svg") :])


def build(request: Request, _: FormData) -> Response:
    """Begin to build what is in the address."""
    filled: Filled[JigRequest] = fill(JIG, entered(request.query_params))
    if filled.value is None:
        raise InputError(filled.findings)
    target = filled.value.target().absolute()
    work = works_of(request).start(
        f"Jig {target.name}",
        build_asked,
        filled.value,
        target,
        False,
        key=str(target),
        address=f"/jig?{request.url.query}",
        target=target,
    )
    return go(f"/work/{work.number}")


ROUTES = [Route("/jig", ask, methods=["GET"]), Route("/jig", posted(build), methods=["POST"])]
