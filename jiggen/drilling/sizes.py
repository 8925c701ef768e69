"""Drills, depths and screws that are sold or usual, and those that are not."""

from collections.abc import Iterator

from jiggen.pattern.model import Drill, oddities
from jiggen.record.results import DrilledHole
from jiggen.tables import is_sold_screw, sold_drills
from jiggen.units import number

ODD_SIZES = ("unusual", "drill-size", "screw-size")


def odd_sizes(hole: DrilledHole) -> Iterator[tuple[str, str, str]]:
    """The code, the message and the hint of each size of a hole that is not to be had, or odd."""
    for message in dict.fromkeys(oddities(Drill(hole.drill, hole.drill, hole.depth)).values()):
        hint = "The pattern says that it is meant, for threaded inserts or a thin ski."
        yield "unusual", message, hint
    near = sold_drills(hole.drill)
    if hole.drill not in near:
        message = f"neither a drill nor a bush of {number(hole.drill, 4)} mm is sold"
        hint = f"The nearest sizes that are: {near[0]:g} and {near[1]:g} mm."
        yield "drill-size", message, hint
    if hole.screw is not None and not is_sold_screw(hole.screw):
        message = f"a screw of {number(hole.screw, 3)} mm is not a length that is sold"
        yield "screw-size", message, "Whole and half mm are, and sixteenths of an inch."
