import re

import cadquery as cq
import numpy as np
import pytest

from jiggen.design.pieces import Piece, Placed
from jiggen.solid import Part, shapes, step, step_bytes

SHARED = {"LINE", "PLANE", "VECTOR"}


def test_a_step_file_has_no_clock_and_no_count_of_the_process():
    box, piece = shapes.block((0, 30), (0, 20), (0, 5)), np.eye(4)
    rails = tuple(Placed(f"rail {where} right and left", piece) for where in ("toe", "heel"))
    parts = [Part(Piece("rail", "rail", rails, piece), box, 3000.0)]
    found = step_bytes(parts)
    assert found == step_bytes(parts)
    assert b"'1970-01-01T00:00:00'" in found and b"PRODUCT('rail','rail'" in found
    for number, placed in enumerate(rails, start=1):
        assert f"OCCURRENCE('{number}','{placed.name}','',#5,".encode() in found


def test_a_unit_that_the_process_was_told_before_does_not_count(tmp_path):
    box, piece = shapes.block((0, 30), (0, 20), (0, 5)), np.eye(4)
    parts = [Part(Piece("bar", "plate", (Placed("bar", piece),), piece), box, 3000.0)]
    wanted = step_bytes(parts)
    box.export(str(tmp_path / "inches.step"), unit="MM", outputUnit="INCH")
    assert b"'INCH'" in (tmp_path / "inches.step").read_bytes()
    assert step_bytes(parts) == wanted


def test_a_solid_that_step_cannot_hold_is_a_fault_of_ours():
    ring = shapes.block((0, 9), (0, 9), (0, 9)).cut(shapes.block((3, 6), (3, 6), (3, 6)))
    piece = Piece("ring", "plate", (Placed("ring", np.eye(4)),), np.eye(4))
    with pytest.raises(RuntimeError, match="ring is not a solid that STEP can hold"):
        step_bytes([Part(piece, ring.Solids()[0], 702.0)])


def entities(file: bytes) -> dict[str, tuple[str, str]]:
    """Type and arguments of each, by its number."""
    text = re.sub(r"\n\s*", "", file.decode())
    return {
        n: (kind, rest) for n, kind, rest in re.findall(r"#(\d+) = ([A-Z_0-9]+)(\([^;]*);", text)
    }


def whole(number: str, found: dict[str, tuple[str, str]]) -> str:
    """An entity with all that it refers to."""
    kind, rest = found[number]
    return kind + re.sub(r"#(\d+)", lambda ref: whole(ref[1], found), rest)


def test_of_a_large_model_what_is_the_same_is_written_once(monkeypatch, tmp_path):
    plate = shapes.block((0, 30), (0, 20), (0, 5))
    made = plate.cut(*(shapes.cylinder(2.0, -1.0, 6.0, x, 9.0) for x in (5.0, 15.0, 25.0)))
    piece = Piece("plate", "plate", (Placed("plate", np.eye(4)),), np.eye(4))
    parts = [Part(piece, made.Solids()[0], made.Volume())]
    plain = step_bytes(parts)
    monkeypatch.setattr(step, "MANY", 8)
    shared = step_bytes(parts)
    before, after = entities(plain), entities(shared)
    shells = [
        [whole(number, found) for number, (kind, _) in found.items() if kind == "CLOSED_SHELL"]
        for found in (before, after)
    ]
    assert shells[0] == shells[1]  # word for word
    same = [found for found in after.values() if found[0] in SHARED]
    assert len(same) == len(set(same)) < sum(kind in SHARED for kind, _ in before.values())
    (tmp_path / "plate.step").write_bytes(shared)
    read = cq.importers.importStep(str(tmp_path / "plate.step")).val()
    assert read.isValid()
    assert read.Volume() == pytest.approx(made.Volume(), rel=1e-12)
