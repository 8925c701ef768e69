"""Room: verify. The witness: reads a jig's exported files, never the model it came from.

:func:`prove` measures them against the layout in their manifest; :func:`check` does so later
on and sees to it that no file has changed.  Nothing here shares geometry code with solid.
"""

from jiggen.verify.folder import check
from jiggen.verify.printing import as_dict as printing_dict
from jiggen.verify.proof import prove
from jiggen.verify.results import BootProof, Fault, Found, HoleProof, Proof
from jiggen.verify.text import table, verdict

__all__ = [
    "BootProof",
    "Fault",
    "Found",
    "HoleProof",
    "Proof",
    "check",
    "printing_dict",
    "prove",
    "table",
    "verdict",
]
