"""Common ground: the jig mark, by which a print in the hand is told from every other.

It is made from the texts that say what was asked for, so whoever has these can work it out again;
jigs, trial plates and gauges bear one.  The ski's own mark, and the long one that drawings bear to
name their record, are other things.
"""

import hashlib
import json
from collections.abc import Mapping
from itertools import count

from jiggen.errors import InputError
from jiggen.files import JOB_FILE, PATTERN_FILE, PRINTER_FILE, parse_toml

DIGITS, LETTERS = "3479", "ACEFHJKNPRTXY"
"""None looks like another one, nor upside down: no 0 O D Q, 1 I L, 2 Z, 5 S, 6 G, 8 B, U V, M W."""
LENGTH = 5
FORM = f"^[{DIGITS}{LETTERS}]{{{LENGTH}}}$"
# What decides nothing of a print: the ski that is held against the holes, where a pattern is from.
OF_THE_SKI, OF_THE_PATTERN = ("ski_in_hand", "drilling_limits"), ("source", "note")


def jig_mark(texts: Mapping[str, str]) -> str:
    """The jig mark of what `texts` ask for, by the names of their files: the job says its kind.

    The same print has the same mark, and another copy of it another one.  It has letters and
    digits, so nobody takes it for a word or a length, nor for the name of a hole or a pattern in
    the texts.  Of 200 shops with 100 jigs each, one has two that are marked alike.  Raises
    ValueError for texts that are not TOML.
    """
    content, signs = content_of(texts), DIGITS + LETTERS
    for turn in count():
        value = int.from_bytes(hashlib.sha256(f"{turn} {content}".encode()).digest(), "big")
        mark = "".join(signs[value // len(signs) ** place % len(signs)] for place in range(LENGTH))
        number = mark.replace("E", "", 1).isdecimal()  # 3E479 is one to a spreadsheet
        if not mark.isalpha() and not number and mark not in content.upper():
            return mark
    raise AssertionError  # a count has no end


def content_of(texts: Mapping[str, str]) -> str:
    """What the texts ask to be printed, as one text: the same for the same print.

    Raises ValueError as `printed`.
    """
    return json.dumps(printed(texts), sort_keys=True, default=str)


def printed(texts: Mapping[str, str]) -> dict[str, object]:
    """Of the texts that say what was asked for, the values that decide what is printed.

    Raises ValueError for texts that are not TOML.
    """
    job, pattern, printer = (
        parse_toml(texts.get(name, "")) for name in (JOB_FILE, PATTERN_FILE, PRINTER_FILE)
    )
    # The side matters where the skis of a pair differ.
    unused = [*OF_THE_SKI, *([] if pattern.get("pair") == "mirrored" else ["side"])]
    job = {name: value for name, value in job.items() if name not in unused}
    pattern = {name: value for name, value in pattern.items() if name not in OF_THE_PATTERN}
    return {**job, "pattern": pattern, "printer": printer}


def read_jig_mark(words: str) -> str:
    """A jig mark as a person types it: in small letters or apart.  Raises InputError."""
    mark = "".join(words.split()).replace("-", "").upper()
    if len(mark) == LENGTH and set(mark) <= {*DIGITS, *LETTERS}:
        return mark
    raise InputError.of(
        "marks.form",
        f'"{words[:40]}" is not a valid jig mark',
        hint=f"Write the {LENGTH} characters that are engraved on the jig and stand on its sheet: "
        f"of {DIGITS} and {LETTERS}.",
    )
