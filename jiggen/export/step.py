"""STEP text made the same from run to run: no clock, no running counter, parts named."""

from __future__ import annotations

import re
from collections.abc import Mapping
from itertools import count

STEP_END = "END-ISO-10303-21;"  # the last words of every exchange file
CLOCK = re.compile(r"(FILE_NAME\('[^']*',)'[^']*'")
USAGE = re.compile(r"NEXT_ASSEMBLY_USAGE_OCCURRENCE\('\d+'(,[^;]*;)")
PRODUCT = re.compile(r"(= PRODUCT\()'([^']*)','[^']*'")


def normalised(text: str, products: Mapping[str, str]) -> str:
    """`text` with a fixed header time, usages numbered from 1, and products renamed.

    A shared solid's product bears the name of its first piece: `products` maps that name to
    the part's. The kernel counts usages over the whole process, and where it breaks their
    lines depends on that count: they are joined.
    """
    text = CLOCK.sub(r"\1'1970-01-01T00:00:00'", text, count=1)
    counter = count(1)

    def numbered(match: re.Match[str]) -> str:
        rest = re.sub(r"\n\s*", "", match[1])
        return f"NEXT_ASSEMBLY_USAGE_OCCURRENCE('{next(counter)}'{rest}"

    text = USAGE.sub(numbered, text)

    def named(match: re.Match[str]) -> str:
        name = products.get(match[2], match[2])
        return f"{match[1]}'{name}','{name}'"

    return PRODUCT.sub(named, text)
