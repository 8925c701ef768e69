"""The independent verifier: reads a jig's exported files, never the model it came from.

:func:`verify_folder` measures them against the layout in their manifest;
:func:`check` does so later on and sees to it that no file has changed.  Nothing here shares
geometry code with solid.
"""

from jiggen.outcome import Fault, Verification
from jiggen.verify.results import table, verdict
from jiggen.verify.verification import check, verify_folder

__all__ = ["Fault", "Verification", "check", "table", "verdict", "verify_folder"]
