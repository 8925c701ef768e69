"""The pages on which something is asked for and built: one way for jig, trial plate and gauge."""

from __future__ import annotations

import secrets
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from markupsafe import Markup
from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from jiggen import options as table
from jiggen.desk.folders import address_of
from jiggen.desk.forms import Field, entered, fill
from jiggen.desk.pages.patterns import TO, cards, sending
from jiggen.desk.site import attempt, go, page, posted, works_of
from jiggen.errors import Finding, InputError, JiggenError
from jiggen.export.folder import check_target
from jiggen.files import MANIFEST
from jiggen.layout import Layout
from jiggen.marks import jig_mark
from jiggen.request.products import Request as Wanted
from jiggen.request.reading import Form


@dataclass(frozen=True)
class Made:
    """What a process has built, for the page: where, and what to beware of."""

    folder: str
    warnings: tuple[Finding, ...]


@dataclass(frozen=True)
class Answer:
    """What comes of something that is asked for, in words, and what to beware of."""

    lines: tuple[str, ...]
    warnings: tuple[Finding, ...]


@dataclass(frozen=True)
class Product:
    """A kind of thing that is asked for on a page of its own.

    `lay_out` gives the holes to draw and the skis they are drawn on, None where there are none;
    `look` what is wrong with them for the fields; `answer` is done by a process and says, a
    moment later, what comes of it all.
    """

    address: str
    name: str
    form: Form[Any]
    lay_out: Callable[[Any], tuple[Layout, tuple[float, float] | None] | None]
    look: Callable[[Any], tuple[Finding, ...]] = lambda _: ()
    answer: Callable[[Any], Answer] | None = None

    def routes(self) -> list[Route]:
        """Its pages."""
        return [
            Route(self.address, self._ask, methods=["GET"]),
            Route(self.address, posted(self._build), methods=["POST"]),
            *([Route(f"{self.address}/answer", self._ask)] if self.answer else ()),
        ]

    def _ask(self, request: Request) -> Response:
        """The form, with the holes as they are entered, and what is there already."""
        words = entered(request.query_params)
        filled, query = fill(self.form, words), request.url.query
        values: dict[str, Any] = {"drawing": "", "mark": "", "there": (), "folder": ""}
        if filled.value:
            try:
                values |= self._seen(filled.value)
            except JiggenError as error:
                filled = filled.refused(error)
            else:
                if faults := self.look(filled.value):
                    filled = filled.refused(InputError(faults))
        ready = bool(filled.value) and not filled.findings
        outcome = None
        if ready and self.answer and request.url.path != self.address:
            asker = request.headers.get("x-tab") or secrets.token_hex()  # without script: once
            outcome = works_of(request).answers.ask(asker, self.answer, filled.value)
        picked = "pattern" in filled.fields
        return page(
            request,
            "making.html",
            product=self,
            filled=filled,
            query=query,
            force=Field(table.FORCE, (), ""),
            ready=ready,
            outcome=outcome,
            later=f"{self.address}/answer?{query}" if ready and self.answer else "",
            cards=cards(self.key, words) if picked and not words.get("pattern") else (),
            send=sending(self.key, words) if picked else "",
            pick=f"/patterns?{TO}={self.key}&{query}" if picked else "",
            **values,
        )

    @property
    def key(self) -> str:
        """What it is called in an address."""
        return self.address.removeprefix("/")

    def _seen(self, asked: Wanted) -> dict[str, Any]:
        """The drawing of what is asked for, its jig mark, and what is in the way of its folder."""
        texts, target = asked.texts(), asked.target()
        _, in_the_way, _ = attempt(lambda: check_target(target, force=False, asked=texts))
        return {
            "drawing": self._drawn(asked),
            "mark": jig_mark(texts),
            "there": in_the_way,
            "folder": address_of(target) if (target / MANIFEST).is_file() else "",
        }

    def _drawn(self, asked: Any) -> Markup:
        from jiggen.export.hole_plan import layout_svg

        if not (found := self.lay_out(asked)):
            return Markup("")
        svg = layout_svg(*found)
        return Markup(svg[svg.index("<svg") :])

    def _build(self, request: Request, sent: FormData) -> Response:
        """Begin to build what is in the address."""
        filled = fill(self.form, entered(request.query_params))
        if filled.value is None:
            raise InputError(filled.findings)
        asked, force = filled.value, bool(sent.get(table.FORCE.name))
        target = asked.target().absolute()
        check_target(target, force=force, asked=asked.texts())
        work = works_of(request).start(
            f"{self.name} {target.name}",
            build_asked,
            asked,
            target,
            force,
            key=f"{filled.command} {force}",
            address=f"{self.address}?{request.url.query}",
            target=target,
            then=page_of,
        )
        return go(f"/work/{work.number}")


def build_asked(asked: Wanted, target: Path, force: bool) -> Made:
    """Build in a process what was asked for.  Raises InputError and CheckFailed."""
    made = asked.build(target, force=force)
    return Made(str(made.folder), made.warnings)


def page_of(made: Made) -> str:
    """The page of what was made."""
    return address_of(Path(made.folder))
