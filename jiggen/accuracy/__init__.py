"""Room: accuracy. How far off a drilled hole will be, and that the mechanism runs free."""

from jiggen.accuracy.budget import Budget, jig_budget, over_limit, sheet_budget, summarise
from jiggen.accuracy.terms import Terms, default_terms, read_terms

__all__ = [
    "Budget",
    "Terms",
    "default_terms",
    "jig_budget",
    "over_limit",
    "read_terms",
    "sheet_budget",
    "summarise",
]
