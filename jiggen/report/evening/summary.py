"""What an evening says, planned or done: a table for people, plain values for machines."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from jiggen.evening import Outcome, Plan, PlannedJig
from jiggen.report.evening.run_sheet import barred
from jiggen.units import counted

STATES = {"built": "built", "found": "already there", "failed": "FAILED"}
PLANNED = "planned"


def as_text(plan: Plan, outcomes: Sequence[Outcome], sheet: Path | None) -> str:
    """The evening as a table of its jigs; without `outcomes` it is only planned."""
    rows: list[tuple[str, ...]] = [("jig", "pattern", "boot", "shift", "core", "skis", "for", "")]
    for number, jig in enumerate(plan.jigs, start=1):
        state = STATES[outcomes[number - 1].state] if outcomes else PLANNED
        rows.append((f"{number}", *_facts(jig), state))
    wide = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    lines = ["  ".join(f"{word:{n}}" for word, n in zip(row, wide, strict=True)) for row in rows]
    return "\n".join([*(line.rstrip() for line in lines), "", *_totals(plan, outcomes, sheet)])


def _facts(jig: PlannedJig) -> tuple[str, ...]:
    job = jig.job
    boots = dict.fromkeys(f"{boot:g}" for boot in job.boots)
    side = f" ({job.side})" if job.pattern.pair == "mirrored" else ""
    return (
        f"{job.pattern.name}{side}",
        "-".join(boots),
        f"{job.shift:+g}" if job.shift else "",
        job.core,
        "-".join(f"{width:g}" for width in job.skis),
        counted(len(jig.tasks), "pair"),
    )


def _totals(plan: Plan, outcomes: Sequence[Outcome], sheet: Path | None) -> list[str]:
    jigs, changes = len(plan.jigs), plan.changes
    fewest = "no fewer will do" if plan.bound == jigs else f"at least {plan.bound} are needed"
    verified = "the fewest" if plan.exact else "not shown to be the fewest"
    lines = [
        f"Pairs:    {len(plan.pairs)}, {plan.skis} skis to clamp",
        f"Jigs:     {jigs}; {fewest}",
        f"Changes:  jig {changes.jigs}, drill {changes.drills}, stop {changes.stops}; {verified}",
    ]
    for number, outcome in enumerate(outcomes, start=1):
        if outcome.state == "failed":
            lines += [f"FAILED:   jig {number}: {fault}" for fault in outcome.faults]
    if outcomes and (never := barred(plan, outcomes)):
        tickets = "; ".join(pair.row.ticket for pair, _ in never.values())
        lines.append(f"DO NOT DRILL: {tickets}")
    if outcomes:
        lines.append(f"Folders:  {outcomes[0].folder.parent}")
    if sheet:
        lines.append(f"Sheet:    {sheet}")
    return lines


def as_dict(plan: Plan, outcomes: Sequence[Outcome], sheet: Path | None) -> dict[str, object]:
    """The evening as plain values; lengths in mm, jigs and tasks in the order of the sheet."""
    never = barred(plan, outcomes) if outcomes else {}
    return {
        "pairs": len(plan.pairs),
        "skis": plan.skis,
        "lower_bound": plan.bound,
        "changes": {**plan.changes._asdict(), "fewest": plan.exact},
        "jigs": [
            {
                "jig": number,
                "pattern": jig.job.pattern.name,
                "boots": jig.job.boots,
                "ski": jig.job.skis,
                "core": jig.job.core,
                "shift": jig.job.shift,
                "side": jig.job.side,
                "stops": [
                    {"number": n, **stop.model_dump(mode="json")}
                    for n, stop in enumerate(jig.stops, start=1)
                ],
                "tasks": [
                    {
                        "ticket": task.pair.row.ticket,
                        "boot": task.pair.row.boot,
                        "skis": {ski: list(order) for ski, order in task.skis},
                    }
                    for task in jig.tasks
                ],
                **(_outcome(outcomes[number - 1]) if outcomes else {"state": PLANNED}),
            }
            for number, jig in enumerate(plan.jigs, start=1)
        ],
        "do_not_drill": [pair.row.ticket for pair, _ in never.values()],
        "sheet": str(sheet) if sheet else None,
    }


def _outcome(outcome: Outcome) -> dict[str, object]:
    return {
        "state": outcome.state,
        "folder": str(outcome.folder),
        "errors": [fault.as_dict() for fault in outcome.faults],
        "warnings": [warning.as_dict() for warning in outcome.warnings],
    }
