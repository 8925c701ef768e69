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

DIGITS, LETTERS = "3479", "ACEFHJKNPRTXY"
"""None looks like another one, nor upside down: no 0 O D Q, 1 I L, 2 Z, 5 S, 6 G, 8 B, U V, M W."""
LENGTH = 5
FORM = f"^[{DIGITS}{LETTERS}]{{{LENGTH}}}$"


def jig_mark(texts: Mapping[str, str]) -> str:
    """The jig mark of what `texts` ask for, by the names of their files: the job says its kind.

    It has letters and digits, so it is no word and no length; nor is it in one of the texts, where
    holes and patterns have their names.  Of 200 shops with 100 jigs each, one has two that are
    marked alike; another copy of either has another mark.
    """
    signs = DIGITS + LETTERS
    content, said = json.dumps(dict(texts), sort_keys=True), "\n".join(texts.values()).upper()
    for turn in count():
        value = int.from_bytes(hashlib.sha256(f"{turn} {content}".encode()).digest(), "big")
        mark = "".join(signs[value // len(signs) ** place % len(signs)] for place in range(LENGTH))
        if not mark.isalpha() and not mark.isdecimal() and mark not in said:
            return mark
    raise AssertionError  # a count has no end


def read_jig_mark(words: str) -> str:
    """A jig mark as a person types it: in small letters or apart.  Raises InputError."""
    mark = "".join(words.split()).replace("-", "").upper()
    if len(mark) == LENGTH and set(mark) <= {*DIGITS, *LETTERS}:
        return mark
    raise InputError.of(
        "marks.form",
        f'"{words[:40]}" is no jig mark',
        hint=f"Write the {LENGTH} characters that are engraved on the jig and stand on its sheet: "
        f"of {DIGITS} and {LETTERS}.",
    )
