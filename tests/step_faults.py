"""Faults seeded into the text of a STEP file: into faces, their surfaces, loops and edges."""

from __future__ import annotations

import re
from collections.abc import Callable

STATEMENT = re.compile(r"#(\d+)\s*=\s*((?:[^';]|'[^']*')*);")
Statements = dict[int, str]


def statements(text: str) -> Statements:
    """The entities of a file by number, each without its number and the blanks between words."""
    return {
        int(match[1]): re.sub(r"('[^']*')|\s+", lambda m: m[1] or "", match[2])
        for match in STATEMENT.finditer(text)
    }


def written(text: str, changed: Statements) -> str:
    """`text` with some of its entities replaced, or added."""

    def one(match: re.Match[str]) -> str:
        new = changed.get(int(match[1]))
        return match[0] if new is None else f"#{match[1]} = {new};"

    there = {int(number) for number, _ in STATEMENT.findall(text)}
    more = "".join(f"#{n} = {new};\n" for n, new in changed.items() if n not in there)
    head, data, rest = STATEMENT.sub(one, text).partition("DATA;\n")
    return head + data + more + rest


def references(statement: str) -> list[int]:
    """The numbers of the entities that one refers to."""
    return [int(number) for number in re.findall(r"#(\d+)", statement)]


def below(found: Statements, start: int) -> set[int]:
    """All that an entity needs, itself among them."""
    reached: set[int] = set()
    waiting = [start]
    while waiting:
        number = waiting.pop()
        if number not in reached:
            reached.add(number)
            waiting += references(found[number])
    return reached


def shell_of(found: Statements, product: str) -> int:
    """The number of the shell of a product's solid."""
    for statement in found.values():
        if statement.startswith("SHAPE_DEFINITION_REPRESENTATION("):
            definition, shape = references(statement)
            if any(f"PRODUCT('{product}'," in found[n] for n in below(found, definition)):
                (shell,) = (n for n in below(found, shape) if found[n].startswith("CLOSED_SHELL"))
                return shell
    raise LookupError(product)


def faces_of(found: Statements, shell: int) -> list[int]:
    """The numbers of a shell's faces."""
    return references(found[shell])


def surface_of(found: Statements, face: int) -> int:
    """The number of a face's surface."""
    return references(found[face])[-1]


def numbers(statement: str) -> list[float]:
    """The coordinates of a point or direction."""
    inner = re.search(r",\(([^)]*)\)\)$", statement)
    assert inner
    return [float(word) for word in inner[1].split(",")]


def without_faces(text: str, product: str, leave_out: Callable[[Statements, int], bool]) -> str:
    """A file whose product lacks the faces that `leave_out` names."""
    found = statements(text)
    shell = shell_of(found, product)
    kept = [face for face in faces_of(found, shell) if not leave_out(found, face)]
    assert 0 < len(kept) < len(faces_of(found, shell))
    refs = ",".join(f"#{face}" for face in kept)
    return written(text, {shell: f"CLOSED_SHELL('',({refs}))"})


def normal(found: Statements, face: int) -> list[float]:
    """The direction of the axis of a face's surface."""
    place = references(found[surface_of(found, face)])[0]
    return numbers(found[references(found[place])[1]])


def origin(found: Statements, face: int) -> list[float]:
    """The origin of a face's surface."""
    place = references(found[surface_of(found, face)])[0]
    return numbers(found[references(found[place])[0]])


def moved_surface(
    text: str,
    product: str,
    chosen: Callable[[Statements, int], bool],
    by: tuple[float, float, float],
) -> str:
    """A file in which the surface of the first face that is `chosen` moved, its edges did not."""
    found = statements(text)
    face = next(f for f in faces_of(found, shell_of(found, product)) if chosen(found, f))
    surface = surface_of(found, face)
    place = references(found[surface])[0]
    at = [a + b for a, b in zip(origin(found, face), by, strict=True)]
    free = max(found) + 1
    words = ",".join(f"{value:.9f}" for value in at)
    return written(
        text,
        {
            surface: found[surface].replace(f"#{place}", f"#{free + 1}", 1),
            free + 1: re.sub(r"#\d+", f"#{free}", found[place], count=1),
            free: f"CARTESIAN_POINT('',({words}))",
        },
    )


def bent_splines(text: str, product: str, by: float) -> str:
    """A file whose product's splines are bent `by` mm along x between their ends."""
    found = statements(text)
    changed: Statements = {}
    for number in below(found, shell_of(found, product)):
        if found[number].startswith("B_SPLINE_CURVE_WITH_KNOTS"):
            for pole in references(found[number])[1:-1]:
                x, y, z = numbers(found[pole])
                changed[pole] = f"CARTESIAN_POINT('',({x + by:.9f},{y:.9f},{z:.9f}))"
    assert changed
    return written(text, changed)


def turned_face(text: str, product: str, chosen: Callable[[Statements, int], bool]) -> str:
    """A file in which the first face that is `chosen` says the other side of its surface."""
    found = statements(text)
    face = next(f for f in faces_of(found, shell_of(found, product)) if chosen(found, f))
    ends = {".T.)": ".F.)", ".F.)": ".T.)"}
    return written(text, {face: found[face][:-4] + ends[found[face][-4:]]})


def turned_bound(text: str, product: str, chosen: Callable[[Statements, int], bool]) -> str:
    """A file in which the bounds of the first face that is `chosen` run the other way round."""
    found = statements(text)
    face = next(f for f in faces_of(found, shell_of(found, product)) if chosen(found, f))
    bounds = references(found[face])[:-1]
    return written(text, {b: found[b].replace(".T.)", ".F.)") for b in bounds})


def is_kind(keyword: str) -> Callable[[Statements, int], bool]:
    """Chooses the faces on a kind of surface."""
    return lambda found, face: found[surface_of(found, face)].startswith(keyword)


def is_level(found: Statements, face: int) -> bool:
    """Whether a face is flat and level in its product's frame."""
    return is_kind("PLANE")(found, face) and abs(normal(found, face)[2]) > 0.99


def is_side(found: Statements, face: int) -> bool:
    """Whether a face is flat and upright in its product's frame."""
    return is_kind("PLANE")(found, face) and abs(normal(found, face)[2]) < 0.01


def widened(text: str, product: str, keyword: str, by: float) -> str:
    """A file in which the first surface or curve of a kind is wider by `by` mm, all else is not."""
    found = statements(text)
    mine = below(found, shell_of(found, product))
    number = min(n for n in mine if found[n].startswith(f"{keyword}("))
    head, place, radius, rest = re.split(r"(#\d+),([^,)]+)", found[number], maxsplit=1)
    return written(text, {number: f"{head}{place},{float(radius) + by:.9f}{rest}"})


def turned_edge(text: str, product: str) -> str:
    """A file in which one face runs through one of its edges the other way."""
    found = statements(text)
    mine = below(found, shell_of(found, product))
    number = min(n for n in mine if found[n].startswith("ORIENTED_EDGE"))
    other = ".F.)" if found[number].endswith(".T.)") else ".T.)"
    return written(text, {number: found[number][:-4] + other})
