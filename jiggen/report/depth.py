"""How deep holes come out through a jig, in words: what 95 of 100 stay within, and why."""

from collections.abc import Callable, Iterable, Iterator

from jiggen.record.results import DepthBudget

TERM_HEADS = ("what", "size", "too deep by", "too shallow by", "source")
TERMS_NOTE = (
    "mm at the worst hole, each at its greatest. Causes are independent of one another; what 95 of "
    "100 holes are too deep is taken off the base that is left under the drill."
)


def depth_words(
    depth: DepthBudget, length: Callable[[float], str], holes: Iterable[str] | None = None
) -> str:
    """How deep `holes` come out, or all; lengths by `length`; empty where it is not known."""
    asked = depth.holes if holes is None else holes
    errors = [depth.holes[hole] for hole in asked if hole in depth.holes]
    if not errors:
        return ""
    deep, shallow, worst = (
        length(max(0.0, *(getattr(error, name) for error in errors)))
        for name in ("deeper_95", "shallower_95", "deeper_worst")
    )
    return (
        f"95 of 100 holes at most {deep} too deep and {shallow} too shallow; at worst {worst} too "
        "deep"
    )


def giving_words(depth: DepthBudget) -> str:
    """How far a jig gives way."""
    return (
        f"pressed with {depth.thrust[1]:g} N on a bush, the jig sinks by {depth.sag:.2f} mm and "
        f"tilts by {depth.tilt:.2f}° at most"
    )


def term_rows(depth: DepthBudget) -> Iterator[tuple[str, ...]]:
    """The table of terms: TERM_HEADS."""
    for term in depth.terms:
        deep, shallow = term.usual + term.deeper, max(term.shallower - term.usual, 0.0)
        yield term.name, term.size, f"{deep:.2f}", f"{shallow:.2f}", term.source
