"""The page of a built jig: one file to look at in a browser, with nothing fetched from anywhere.

Style, script and data are within, and the page is closed to everything else.
"""

from __future__ import annotations

import base64
import hashlib
from importlib.resources import files
from pathlib import Path
from xml.etree import ElementTree as ET

from jiggen.files import PAGE, PICTURE
from jiggen.record import JigRecord
from jiggen.report.page import sections
from jiggen.report.page.markup import classed, node, written
from jiggen.report.page.results import accuracy, notices, printing, setting, stops
from jiggen.report.page.view import View, view_of

HELP = (
    "Drag to turn, with shift or two fingers to slide. Pinch to come closer; or click first, then "
    "roll the wheel. Keys: arrows, +, −, Home."
)


def report_html(folder: Path, record: JigRecord) -> str:
    """The page of a built jig: the same text for the same files and record.

    `folder` holds the files.  What is not verified gets a page that says so, without what to
    print, to buy and how to drill.  The page lists every file of the record but itself.
    """
    inputs, ski = record.inputs, record.inputs.ski
    view = view_of(folder, record.parts, (ski.least + ski.most) / 2, record.shown)
    drawn_for = inputs.boot if record.ladders else None
    body = [
        sections.heading(inputs, len(record.holes)),
        sections.verdict(record.verification),
        *notices(record.drilling),
        classed("div", "first", _viewer(folder, view), sections.cautions()),
        *sections.unreadable(view.unreadable),
        *([stops(record.drilling), *setting(record)] if record.passed else ()),
        sections.layout(folder, record.holes, drawn_for),
        *([sections.to_make(record), printing(record.plastic)] if record.passed else ()),
        *sections.verified(record.verification),
        *([accuracy(record.accuracy)] if record.passed else ()),
        sections.files(record.files, PAGE),
        sections.foot(record.versions),
    ]
    return _document(f"{inputs.pattern}, boot {sections.boot_words(inputs)} mm", view, body)


def _viewer(folder: Path, view: View) -> ET.Element:
    """The canvas over a picture, which stays where no 3D can be drawn, and what steers it."""
    label = "The jig on a ski. Arrow keys turn it, plus and minus bring it closer or farther."
    canvas = {"tabindex": "0", "role": "img", "aria-label": label}
    groups = (node("label", node("input", at=_ticked(group)), text) for group, text in view.groups)
    places = {
        "start": "Start view",
        "above": "From above",
        "below": "From below",
        "side": "From the side",
    }
    buttons = (
        node("button", text, at={"type": "button", "value": value})
        for value, text in places.items()
    )
    return node(
        "section",
        node("h2", "The jig in use"),
        classed("div", "stage", *_picture(folder / PICTURE), node("canvas", at=canvas)),
        classed("div", "steer", *buttons, *groups),
        classed("p", "note steer", HELP),
        at={"id": "view"},
    )


def _ticked(group: str) -> dict[str, str]:
    return {"type": "checkbox", "checked": "", "value": group}


def _picture(path: Path) -> list[ET.Element]:
    if not path.is_file():
        return []
    data = base64.b64encode(path.read_bytes()).decode("ascii")
    alt = "Picture of the jig on a ski"
    return [node("img", at={"src": f"data:image/png;base64,{data}", "alt": alt})]


def _document(title: str, view: View, body: list[ET.Element]) -> str:
    style, script = _asset("page.css"), _asset("view.js")
    # The browser itself refuses whatever is not this page's own, words from a pattern included.
    policy = (
        f"default-src 'none'; img-src data:; style-src {_digest(style)}; "
        f"script-src {_digest(script)}; base-uri 'none'; form-action 'none'"
    )
    head = node(
        "head",
        node("meta", at={"charset": "utf-8"}),
        node("meta", at={"http-equiv": "Content-Security-Policy", "content": policy}),
        node("meta", at={"name": "viewport", "content": "width=device-width, initial-scale=1"}),
        node("title", title),
        node("link", at={"rel": "icon", "href": "data:,"}),
        node("style", style),
    )
    data = view.data.replace("<", "\\u003c")  # within a script, < could end it
    page = node(
        "body",
        node("main", *body),
        node("script", data, at={"type": "application/json", "id": "scene"}),
        node("script", script),
    )
    return written(node("html", head, page, at={"lang": "en"}))


def _asset(name: str) -> str:
    return (files("jiggen.report.page") / name).read_text(encoding="utf-8")


def _digest(text: str) -> str:
    """How a content security policy names an inline text (W3C, CSP Level 2, hash sources)."""
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode('ascii')}'"
