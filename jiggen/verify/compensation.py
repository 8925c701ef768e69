"""What was done to the printed files for one printer, undone by what the record states.

The meshes of STL and 3MF are brought back to the designed shape when they are read: stretch,
skew and height exactly.  The fits that a printer needs are in the design, and so in every file.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from jiggen.files import MANIFEST
from jiggen.verify import limits
from jiggen.verify.geometry import Array
from jiggen.verify.manifest import NOTHING_DONE, Compensation, Inputs
from jiggen.verify.mesh import Mesh
from jiggen.verify.results import Ledger

SAME = 1e-6  # no larger a change is one


def judge_compensation(done: Compensation, ledger: Ledger) -> None:
    """What was done must be within all that a sound printer needs."""
    found = float(np.abs(np.append(np.array(done.matrix) - np.eye(2), done.height - 1)).max())
    message = f"changed by {100 * found:.2f} % for the printer, {100 * limits.STRETCH:g} % allowed"
    about = ledger.about(MANIFEST, "size of the parts")
    about.within(found, 0.0, limits.STRETCH, "verify.compensation", message, "")


def judge_fits(inputs: Inputs, ledger: Ledger) -> None:
    """So must the fits that the jig was designed with."""
    limit = limits.OFFSET
    for subject, found in (
        ("bush pockets", inputs.bush_fit),
        ("drill holes", inputs.hole_fit),
        ("sliding faces", inputs.slide),
    ):
        message = f"changed by {found:+.3f} mm for the printer, {limit:g} mm allowed"
        about = ledger.about(MANIFEST, subject)
        about.within(found, 0.0, limit, "verify.compensation", message)


def undone(mesh: Mesh, done: Compensation) -> Mesh:
    """A mesh as read, with stretch, skew and height undone."""
    if done is NOTHING_DONE:
        return mesh
    return Mesh(mesh.vertices @ np.linalg.pinv(done.linear).T, mesh.triangles)


def done_again(mesh: Mesh, done: Compensation) -> Mesh:
    """The mesh of :func:`undone` as the printer gets it."""
    if done is NOTHING_DONE:  # the same object: what was computed of it is computed once
        return mesh
    return Mesh(mesh.vertices @ done.linear.T, mesh.triangles)


def misdone(done: Compensation) -> Iterator[tuple[str, Array]]:
    """What may have been done instead, in words, and the 3×3 that takes its undoing further.

    It carries what `undone` makes of such a file to the designed mesh.
    """
    right = done.linear
    if np.abs(right - np.eye(3)).max() < SAME:
        return
    transposed, exchanged = right.copy(), right.copy()
    transposed[:2, :2] = right[:2, :2].T
    exchanged[:2, :2] = right[1::-1, 1::-1]
    for words, made in (
        ("is not compensated at all", np.eye(3)),
        ("is compensated twice", right @ right),
        ("is compensated the wrong way round", np.linalg.pinv(right)),
        ("is skewed the wrong way, its compensation transposed", transposed),
        ("is compensated for x along y, and for y along x", exchanged),
    ):
        yield words, np.asarray(np.linalg.pinv(made) @ right)
