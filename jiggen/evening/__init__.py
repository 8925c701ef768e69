"""Room: evening.  Many pairs at once: rows read and checked, the fewest jigs, the best order.

`read_jobs` reads a jobs file, `plan_evening` checks each row and plans jigs and order.  Building
the jigs and writing the run sheet belong to the report.
"""

from jiggen.evening.check import Drilled, Pair, Terms
from jiggen.evening.order import Changes
from jiggen.evening.plan import (
    Outcome,
    Plan,
    PlannedJig,
    Spans,
    Task,
    plan_evening,
    ski_needed,
)
from jiggen.evening.read import Jobs, Row, read_jobs

__all__ = [
    "Changes",
    "Drilled",
    "Jobs",
    "Outcome",
    "Pair",
    "Plan",
    "PlannedJig",
    "Row",
    "Spans",
    "Task",
    "Terms",
    "plan_evening",
    "read_jobs",
    "ski_needed",
]
