"""Which distances to measure on a plate of which only the number of holes is known: its form."""

from collections.abc import Iterator
from itertools import combinations

from jiggen.measure import Method

MOST = 26  # holes: their names are letters
NEXT = 5  # each hole is measured to as many after it, in the order of their names
EMPTY = '""'  # a value of a form that is to be filled in
FEW = 5  # holes up to which every distance is measured both ways


def worth_measuring(holes: int) -> Iterator[tuple[str, str, tuple[Method, ...]]]:
    """Names of two holes and how to measure between them, for a plate of `holes` holes.

    The holes are named from the tip to the tail, left before right.  So many distances that 99 of
    100 gross errors of 1 mm show with a caliper: those across the plate are hardly checked by the
    rest, and are measured both ways (`tests/bench/survey.py` counts it).
    """
    for number, (one, other) in enumerate(combinations(range(holes), 2)):
        if other - one <= NEXT:
            across = one % 2 == 0 and other == one + 1
            both = across or holes <= FEW
            way: Method = "inside" if number % 2 else "outside"
            yield name(one), name(other), ("outside", "inside") if both else (way,)


def name(hole: int) -> str:
    """What a hole is called in the file to fill in, counted from 0."""
    return chr(ord("a") + hole)


def blank_text(holes: int) -> str:
    """A survey of a plate with so many holes, to be filled in."""
    names = [name(hole) for hole in range(holes)]
    rows = [*zip(names[::2], names[1::2], strict=False)]
    pairs = ", ".join(f'["{left}", "{right}"]' for left, right in rows)
    asked = [
        f"{one}-{other} = {{ {', '.join(f'{kind} = {EMPTY}' for kind in kinds)} }}"
        for one, other, kinds in worth_measuring(holes)
    ]
    middle = _beside(f'centre_line = ["{names[-1]}"]', "a hole in the middle")
    return "\n".join(
        [
            f"# A plate with {holes} holes, to be measured with a caliper.",
            "# Name the holes on the plate with a pen: from the tip to the tail, in each row the",
            "# left one first, seen from the tail.  Write what the caliper shows in place of each",
            '# "": outside is over the far rims, inside between the near rims.',
            "",
            "format = 1",
            f"name = {EMPTY}                         # what the plate is called",
            'units = "mm"                      # what the caliper shows: "mm" or "in"',
            "",
            "[drill]                           # for the ski, not the plate's holes",
            "diameter = { plain = 3.6, metal = 4.1 }",
            "depth = 9.0",
            "",
            "[group]",
            'name = "plate"',
            'datum = "boot-centre"             # or "boot-toe", "boot-heel"',
            "shift = 0.0                       # from there to the plate's origin, + to the tip",
            "",
            "[plate]                           # how it lies on the ski, seen from the tail",
            _beside(f"origin = {EMPTY}", "where x is 0: a hole, or the middle of several"),
            f'front = ["{names[0]}", "{names[1]}"]                # the holes nearest the tip',
            f"pairs = [{pairs}]  # left and right, the left one first",
            *([middle] if holes % 2 else []),
            "",
            "[holes]                           # diameters in the plate: mean of along and across",
            *(f"{one} = {EMPTY}" for one in names),
            "",
            "[distances]",
            *asked,
            "",
            "[other_tool]                      # once more by other means: is the caliper true?",
            f"{names[0]}-{names[-2]} = {{ outside = {EMPTY}, sigma = 0.3 }}  # of a steel ruler",
            "",
        ]
    )


def _beside(entry: str, note: str) -> str:
    return f"{entry:34}# {note}"
