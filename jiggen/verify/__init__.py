"""The independent verifier: reads a jig's exported files, never the model it came from."""

from jiggen.outcome import Fault, Verification
from jiggen.verify.certificate import certify, remember
from jiggen.verify.papers import PAPERS, verify_papers
from jiggen.verify.results import table, verdict
from jiggen.verify.verification import check, verify_folder

__all__ = [
    "PAPERS",
    "Fault",
    "Verification",
    "certify",
    "check",
    "remember",
    "table",
    "verdict",
    "verify_folder",
    "verify_papers",
]
