"""The ski's mounting mark in words: what lies on it."""

from collections.abc import Iterator

from jiggen.wording import CENTRE, point_words


def about_mark(point: str) -> Iterator[str]:
    """A sentence where another point of the boot than the middle of its sole lies on the mark."""
    if point != CENTRE:
        yield (
            f"The boot's {point_words(point)} goes on the ski's mark: a mark for the middle of "
            "the sole is the wrong one."
        )
