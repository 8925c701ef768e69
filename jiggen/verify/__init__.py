"""The independent verifier: reads a jig's exported files, never the model it came from."""

from importlib import import_module
from typing import TYPE_CHECKING, Any

from jiggen.outcome import Fault, Verification
from jiggen.verify.certificate import certify, remember
from jiggen.verify.results import table, verdict

if TYPE_CHECKING:
    from jiggen.verify.papers import verify_papers
    from jiggen.verify.verification import check, verify_folder

__all__ = [
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
HEAVY = {"check": "verification", "verify_folder": "verification", "verify_papers": "papers"}
"""What is loaded when it is asked for, from where: whoever builds has another process verify."""

if not TYPE_CHECKING:

    def __getattr__(name: str) -> Any:
        if name not in HEAVY:
            raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
        return getattr(import_module(f"{__name__}.{HEAVY[name]}"), name)
