import numpy as np
import pytest

from jiggen.design.pieces import Piece, Placed
from jiggen.solid import Model, Part, shapes, step_bytes


def test_a_step_file_has_no_clock_and_no_count_of_the_process():
    box, piece = shapes.block((0, 30), (0, 20), (0, 5)), np.eye(4)
    rails = tuple(Placed(f"rail {where} right and left", piece) for where in ("toe", "heel"))
    model = Model((Part(Piece("rail", "rail", rails, piece), box, 3000.0),))
    found = step_bytes(model)
    assert found == step_bytes(model)
    assert b"'1970-01-01T00:00:00'" in found and b"PRODUCT('rail','rail'" in found
    for number, placed in enumerate(rails, start=1):
        assert f"OCCURRENCE('{number}','{placed.name}','',#5,".encode() in found


def test_a_solid_that_step_cannot_hold_is_a_fault_of_ours():
    ring = shapes.block((0, 9), (0, 9), (0, 9)).cut(shapes.block((3, 6), (3, 6), (3, 6)))
    piece = Piece("ring", "plate", (Placed("ring", np.eye(4)),), np.eye(4))
    with pytest.raises(RuntimeError, match="ring is not a solid that STEP can hold"):
        step_bytes(Model((Part(piece, ring.Solids()[0], 702.0),)))
