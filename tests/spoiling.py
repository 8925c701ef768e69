"""Files spoilt at random: by bytes, lines and tokens, and by the values they hold."""

from __future__ import annotations

import io
import json
import re
import tomllib
import zipfile
from collections.abc import Callable
from random import Random
from typing import Any

import tomlkit

NUMBER = re.compile(rb"[-+]?\d+(?:\.\d*)?(?:[eE][-+]?\d+)?")
WORD = re.compile(rb"[A-Za-z_][A-Za-z0-9_-]*")
STRING = re.compile(rb'"[^"\n]*"|\'[^\'\n]*\'')
NUMBERS = (
    *(
        "0",
        "-0",
        "0.0",
        "-1",
        "1",
        "1e-320",
        "1e308",
        "1e309",
        "-1e309",
        "1e-9",
        "0x7f",
        "1_0",
        "0x" + "f" * 5000,
    ),
    *("nan", "inf", "-inf", "NaN", "Infinity", "9" * 30, "9" * 5000, "1." + "3" * 5000),
    *(
        "4294967295",
        "2147483648",
        "-9223372036854775809",
        "18446744073709551616",
        "1,5",
        "1979-05-27",
    ),
)
TEXTS = (
    *("", " ", "\0", "\n", "..", "../../../etc/passwd", "/etc/passwd", "C:\\x", "CON", "nul.toml"),
    *(
        "\u202egnp.exe",
        "\u2066a\u2069",
        "\ufeff",
        "\u200b",
        "\x1b[31m",
        "\x7f",
        "\ud7ff",
        "\U0010ffff",
    ),
    *("é" * 300, "n" * 300, "n" * 70_000, "𝔘𝔫", "e\u0301" * 40, "%s%n{0}", "'\"", "\\u0000", "\\"),
)
VALUES: tuple[Any, ...] = (
    *(None, True, False, 0, -1, 1.5, 1e308, float("nan"), float("inf"), 10**30, "", "x", "../x"),
    *([], {}, [[]], [[], []], {"": ""}, [1, 2, 3], [None], ["a"] * 300, {"a": {"b": {"c": 1}}}),
)
RAW = (
    b"\0",
    b"\xff\xfe",
    b"\xc3",
    b"\xef\xbb\xbf",
    b"\r",
    b"\r\n",
    b"\t",
    b"\\",
    b'"""',
    b"'''",
    b"#",
)
NESTS = (
    (b"[", b"]"),
    (b"{", b"}"),
    (b"{a=", b"}"),
    (b'{"a":', b"}"),
    (b"(", b")"),
    (b"<a>", b"</a>"),
)


def spoilt(data: bytes, rng: Random, kind: str) -> bytes:
    """`data` of a file of `kind` (its name's ending) with one to four things done to it."""
    ways = WAYS.get(kind, BYTES)
    for _ in range(rng.choice((1, 1, 1, 2, 2, 4))):
        data = rng.choice(ways)(data, rng)
    return data[:2_000_000]


def _span(data: bytes, rng: Random) -> tuple[int, int]:
    start = rng.randrange(len(data) + 1)
    return start, min(len(data), start + rng.choice((1, 1, 2, 5, 20, 200)))


def truncated(data: bytes, rng: Random) -> bytes:
    return data[: rng.randrange(len(data) + 1)]


def deleted(data: bytes, rng: Random) -> bytes:
    start, stop = _span(data, rng)
    return data[:start] + data[stop:]


def doubled(data: bytes, rng: Random) -> bytes:
    start, stop = _span(data, rng)
    return data[:stop] + data[start:stop] * rng.choice((1, 1, 2, 300)) + data[stop:]


def flipped(data: bytes, rng: Random) -> bytes:
    if not data:
        return data
    spoiled = bytearray(data)
    for _ in range(rng.choice((1, 1, 3, 30))):
        spoiled[rng.randrange(len(spoiled))] ^= 1 << rng.randrange(8)
    return bytes(spoiled)


def inserted(data: bytes, rng: Random) -> bytes:
    at = rng.randrange(len(data) + 1)
    return data[:at] + rng.choice((*RAW, rng.choice(TEXTS).encode())) + data[at:]


def numbers_set(data: bytes, rng: Random) -> bytes:
    """A whole number of four bytes somewhere, as a count in a binary file is."""
    at = rng.randrange(max(1, len(data) - 4))
    size = rng.choice((0, 1, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFF, 0x7FC00000, 0x7F800000, 10**6))
    return data[:at] + size.to_bytes(4, "little") + data[at + 4 :]


def lines_moved(data: bytes, rng: Random) -> bytes:
    lines = data.split(b"\n")
    line = lines.pop(rng.randrange(len(lines)))
    for _ in range(rng.choice((0, 1, 2, 2, 50))):
        lines.insert(rng.randrange(len(lines) + 1), line)
    return b"\n".join(lines)


def nested(data: bytes, rng: Random) -> bytes:
    opening, closing = rng.choice(NESTS)
    depth = rng.choice((2, 30, 600, 20_000))
    found = list(NUMBER.finditer(data))
    at = rng.choice(found).start() if found else rng.randrange(len(data) + 1)
    return data[:at] + opening * depth + b"1" + closing * depth + data[at:]


def _token(pattern: re.Pattern[bytes], others: Callable[[Random], bytes]) -> Way:
    def change(data: bytes, rng: Random) -> bytes:
        found = list(pattern.finditer(data))
        if not found:
            return data
        one = rng.choice(found)
        return data[: one.start()] + others(rng) + data[one.end() :]

    return change


Way = Callable[[bytes, Random], bytes]
other_number = _token(NUMBER, lambda rng: rng.choice(NUMBERS).encode())
other_string = _token(STRING, lambda rng: b'"' + rng.choice(TEXTS).encode() + b'"')
other_type = _token(STRING, lambda rng: rng.choice((b"1", b"[]", b"true", b"{}", b"nan")))
number_as_text = _token(NUMBER, lambda rng: rng.choice((b'"1"', b"[1]", b"true", b"[]", b"{}")))
other_word = _token(WORD, lambda rng: rng.choice((b"x", b"name", b"hole", b"true", b"__class__")))


def value_changed(tree: Any, rng: Random) -> None:
    """One value somewhere in `tree` replaced, left out, moved or multiplied."""
    places = list(_places(tree))
    if not places:
        return
    holder, key = rng.choice(places)
    match rng.randrange(6):
        case 0:
            del holder[key]
        case 1 if isinstance(holder[key], list) and holder[key]:
            holder[key] = holder[key] * rng.choice((2, 3, 400))
        case 2:
            other, where = rng.choice(places)
            holder[key] = json.loads(json.dumps(other[where], default=str))
        case 3:
            holder[key] = rng.choice(TEXTS)
        case _:
            holder[key] = rng.choice(VALUES)


def _places(tree: Any) -> Any:
    stack = [tree]
    while stack:
        holder = stack.pop()
        keys = range(len(holder)) if isinstance(holder, list) else list(holder)
        for key in keys:
            yield holder, key
            if isinstance(holder[key], list | dict):
                stack.append(holder[key])


def json_changed(data: bytes, rng: Random) -> bytes:
    try:
        tree = json.loads(data)
    except (ValueError, RecursionError):
        return data
    if isinstance(tree, list | dict):
        value_changed(tree, rng)
    return json.dumps(tree, indent=1, ensure_ascii=rng.random() < 0.5).encode("utf-8", "replace")


def toml_changed(data: bytes, rng: Random) -> bytes:
    try:
        tree = tomllib.loads(data.decode("utf-8"))
        value_changed(tree, rng)
        return tomlkit.dumps(tree).encode("utf-8", "replace")
    except Exception:  # spoilt before, or no value that TOML has: any other change will do
        return flipped(data, rng)


def package_changed(data: bytes, rng: Random) -> bytes:
    """A member of a ZIP file spoilt, and the file written anew around it."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as package:
            members = {name: package.read(name) for name in package.namelist()}
    except Exception:  # spoilt before
        return flipped(data, rng)
    if not members:
        return data
    name = rng.choice(list(members))
    members[name] = rng.choice(TEXT)(members[name], rng)
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as package:
        for name, content in members.items():
            package.writestr(name, content)
    return buffer.getvalue()


BYTES: tuple[Way, ...] = (truncated, deleted, doubled, flipped, inserted, numbers_set)
TEXT: tuple[Way, ...] = (
    *(truncated, deleted, doubled, flipped, inserted, lines_moved, lines_moved, nested),
    *(other_number, other_number, other_string, other_type, number_as_text, other_word),
)
WAYS: dict[str, tuple[Way, ...]] = {
    ".toml": (*TEXT, *(toml_changed,) * 8),
    ".json": (*TEXT, *(json_changed,) * 14),
    ".csv": TEXT,
    ".svg": TEXT,
    ".dxf": TEXT,
    ".step": TEXT,
    ".gcode": TEXT,
    ".html": TEXT,
    ".pdf": (*BYTES, *TEXT),
    ".3mf": (*BYTES, *(package_changed,) * 6),
}
