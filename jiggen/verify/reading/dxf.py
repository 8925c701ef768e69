"""The layout's DXF file, text only: what is drawn in its model space, and in which unit.

Nothing may be placed from a block, hidden, tilted, or lie in paper space.
"""

from collections.abc import Iterable, Iterator
from itertools import pairwise

from jiggen.files import MARK_NAME
from jiggen.verify.reading.plan import MOST, DrawingError, Plan, Ring, Stroke, Word, number

# DXF reference, HEADER section: $INSUNITS is 4 for mm; $MEASUREMENT is 1 for metric.
UNITS = {"1": 25.4, "2": 304.8, "4": 1.0, "5": 10.0, "6": 1000.0}  # mm
METRIC = "1"
KINDS = {"LINE", "CIRCLE", "SOLID", "TEXT"}
MOST_TAGS = 400_000
LONGEST = 2000  # characters of a value
# Group codes of an entity (DXF reference, "Common Group Codes for Entities"): owner, handle,
# subclasses, layer; and of each kind its own below.
COMMON = {"0", "5", "330", "100", "8"}
OWN = {
    "LINE": {"10", "20", "30", "11", "21", "31"},
    "CIRCLE": {"10", "20", "30", "40"},
    "SOLID": {f"{row}{corner}" for row in (1, 2, 3) for corner in range(4)},
    "TEXT": {"10", "20", "30", "11", "21", "31", "40", "41", "1", "50", "7", "72", "73"},
}
LEVEL = ("30", "31", "32", "33", "50")  # heights, and a text's turn: 0
OFF, FROZEN = "-", 1  # a layer's colour below 0; bit 1 of its flags
Tag = tuple[str, str]


def read_dxf_plan(data: bytes) -> Plan:
    """The drawing in a DXF file.  Raises DrawingError."""
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError:
        raise DrawingError("it is not a DXF file in text") from None
    sections = dict(_sections(_tags(text)))
    header = dict(_variables(sections.get("HEADER", [])))
    if any(number(value) for _, value in header.get("$INSBASE", [])):
        raise DrawingError("its base point is not the origin")
    if any(kind not in ("BLOCK", "ENDBLK") for kind, _ in _entities(sections.get("BLOCKS", []))):
        raise DrawingError("something is drawn in a block")
    for kind, tags in _entities(sections.get("TABLES", [])):
        if kind == "LAYER":
            _refuse_hidden(tags)
    unit = UNITS.get(_only(header, "$INSUNITS"), 0.0)
    if _only(header, "$MEASUREMENT") != METRIC:
        unit = 0.0
    properties = header.get(MARK_NAME, [])
    rings, strokes, words = [], [], []
    for count, (kind, tags) in enumerate(_entities(sections.get("ENTITIES", []))):
        values = _values(kind, tags)
        if count >= MOST:
            raise DrawingError("more shapes than a layout has")
        at = number(values["10"]), number(values["20"])
        if kind == "CIRCLE":
            rings.append(Ring(at, 2 * number(values["40"])))
        elif kind == "LINE":
            end = number(values["11"]), number(values["21"])
            strokes.append(Stroke(at, end, values["8"]))
        elif kind == "TEXT":
            anchored = {"0", "72"} if values.get("72", "0") != "0" else set()
            if anchored:  # a text that is not set from its left end stands at its second point
                at = number(values["11"]), number(values["21"])
            words.append(Word(at, values["1"].replace("%%%%%%", "%%").replace("^ ", "^")))
    marks = tuple(value for _, value in properties)
    return Plan((unit, unit), marks, tuple(rings), tuple(strokes), tuple(words))


def _tags(text: str) -> Iterator[Tag]:
    lines = text.replace("\r\n", "\n").split("\n")
    if len(lines) > 2 * MOST_TAGS:
        raise DrawingError("more lines than a layout has")
    for code, value in zip(lines[::2], lines[1::2], strict=False):
        if len(value) > LONGEST or len(code) > 10:
            raise DrawingError("a line without end")
        yield code.strip(), value


def _sections(tags: Iterable[Tag]) -> Iterator[tuple[str, list[Tag]]]:
    """Each section's name, once, and its tags."""
    name, found, seen = "", list[Tag](), set[str]()
    for tag in tags:
        if tag == ("0", "SECTION"):
            name, found = "?", []
        elif name == "?" and tag[0] == "2":
            name = tag[1]
            if name in seen:
                raise DrawingError(f"two sections {name[:20]}")
            seen.add(name)
        elif tag == ("0", "ENDSEC"):
            yield name, found
            name = ""
        elif name:
            found.append(tag)
    if name or "ENTITIES" not in seen:
        raise DrawingError("it is not a whole DXF drawing")


def _variables(tags: Iterable[Tag]) -> Iterator[tuple[str, list[Tag]]]:
    """Variables of the header; a property of the file bears its own name."""
    found: dict[str, list[Tag]] = {}
    name, listed = "", list(tags)
    for tag, after in pairwise([*listed, ("", "")]):
        if tag[0] == "9":
            name = tag[1]
            if name in found and not name.startswith("$CUSTOMPROPERTY"):
                raise DrawingError(f"{name[:20]} is set twice")
            found.setdefault(name, [])
            if name == "$CUSTOMPROPERTY" and found.get("$CUSTOMPROPERTYTAG"):
                own = found["$CUSTOMPROPERTYTAG"][-1][1]
                found.setdefault(own, []).append(after)
        elif name:
            found[name].append(tag)
    yield from found.items()


def _entities(tags: Iterable[Tag]) -> Iterator[tuple[str, list[Tag]]]:
    """Each entity's kind and tags."""
    kind, found = "", list[Tag]()
    for tag in tags:
        if tag[0] == "0":
            if kind:
                yield kind, found
            kind, found = tag[1], []
        found.append(tag)
    if kind:
        yield kind, found


def _values(kind: str, tags: Iterable[Tag]) -> dict[str, str]:
    if kind not in KINDS:
        raise DrawingError(f"it holds what jiggen does not draw: {kind[:20]}")
    values: dict[str, str] = {}
    for code, value in tags:
        if code not in COMMON | OWN[kind] or (code in values and code != "100"):
            raise DrawingError(f"{kind} with what jiggen does not write: group {code}")
        values[code] = value
    lost = ({"10", "20", "8"} | (OWN[kind] if kind in ("LINE", "CIRCLE") else set())) - set(values)
    lost |= {"1"} - set(values) if kind == "TEXT" else set()
    if lost or any(number(values.get(code, "0")) for code in LEVEL):
        raise DrawingError(f"{kind} that does not lie in the drawing")
    return values


def _refuse_hidden(tags: Iterable[Tag]) -> None:
    values = dict(tags)
    flags = values.get("70", "0").strip()
    if values.get("62", "").strip().startswith(OFF) or (flags.isdecimal() and int(flags) & FROZEN):
        raise DrawingError(f"its layer {values.get('2', '')[:20]} is hidden")


def _only(header: dict[str, list[Tag]], name: str) -> str:
    values = header.get(name, [])
    return values[0][1].strip() if len(values) == 1 else ""
