"""What an evening comes to, planned or done: words for people, plain values for machines."""

from collections.abc import Iterator, Sequence
from dataclasses import asdict, replace
from pathlib import Path

from jiggen.errors import Finding
from jiggen.evening import Outcome, Plan
from jiggen.report import text_table
from jiggen.report.evening.print_job import PrintJob, print_job
from jiggen.report.evening.run_sheet import run_sheet_pdf
from jiggen.report.evening.words import barred
from jiggen.units import counted

__all__ = [
    "about",
    "as_dict",
    "as_text",
    "jig_table",
    "print_job",
    "run_sheet_pdf",
    "warnings_of",
]

STATES = {
    "planned": "to be built",
    "built": "built",
    "found": "already there",
    "failed": "FAILED",
    "owned": "on the shelf",
}
TOLD = {"ticket", "boot"}  # of a row


def as_text(
    plan: Plan, outcomes: Sequence[Outcome], printing: PrintJob | None, sheet: Path | None
) -> str:
    """The evening as a table of its jigs, and what is printed and bought for those there are."""
    lines = [*text_table(jig_table(plan, outcomes)), ""]
    lines += (f"{f'{heading}:':<9} {words}" for heading, words in about(plan, outcomes))
    lines += ["", *job_lines(printing, plan.to_make), ""] if printing else []
    lines += [f"Folders:  {one.folder.parent}" for one in outcomes if one.state != "owned"][:1]
    if sheet:
        lines.append(f"Sheet:    {sheet}")
    return "\n".join(lines)


def jig_table(plan: Plan, outcomes: Sequence[Outcome]) -> list[tuple[str, ...]]:
    """The names of columns, and a row for each jig: what it is for, and what became of it."""
    marks = (f", jig mark {one.jig_mark}" if one.jig_mark else "" for one in outcomes)
    states = [STATES[one.state] + mark for one, mark in zip(outcomes, marks, strict=True)]
    rows: list[tuple[str, ...]] = [("jig", "pattern", "boot", "shift", "core", "skis", "for", "")]
    for number, (jig, state) in enumerate(zip(plan.jigs, states, strict=True), start=1):
        job = jig.job
        side = f" ({job.side})" if job.pattern.pair == "mirrored" else ""
        boots = "-".join(dict.fromkeys(f"{boot:g}" for boot in job.boots))
        shift = ", ".join(f"{one:+g}" if one else "0" for one in jig.shifts)
        shift = "" if shift == "0" else shift
        skis = "-".join(f"{width:g}" for width in job.skis)
        pairs = counted(len(jig.tasks), "pair")
        name = f"{job.pattern.name}{side}"
        rows.append((f"{number}", name, boots, shift, job.core, skis, pairs, state))
    return rows


def about(plan: Plan, outcomes: Sequence[Outcome]) -> Iterator[tuple[str, str]]:
    """What is to be known of a plan and of its jigs, each with its heading."""
    changes, make = plan.changes, plan.to_make
    fewest = "no fewer will do"
    if plan.bound < make:
        fewest = f"no fewer were found; at least {plan.bound} are needed"
    verified = "the fewest" if plan.exact else "not shown to be the fewest"
    halves = plan.clampings > plan.skis
    clampings = f" in {plan.clampings} clampings: halves by themselves" if halves else ""
    yield "Pairs", f"{len(plan.pairs)}, {plan.skis} skis to clamp{clampings}"
    yield "Jigs", f"{shelf_words(plan)}; {fewest}"
    counts = f"jig {changes.jigs}, drill {changes.drills}, stop {changes.stops}"
    yield "Changes", f"{counts}; {verified}"
    for number, jig in enumerate(plan.jigs, start=1):
        if slotted := [task.pair.row.ticket for task in jig.tasks if task.by_slot]:
            what = f"jig {number}, shift set by its slot, up to {jig.slot_error:.1f} mm less exact"
            yield "Slot", f"{what}: {'; '.join(slotted)}"
    for number, outcome in enumerate(outcomes, start=1):
        if outcome.state == "failed":
            yield from (("FAILED", f"jig {number}: {fault}") for fault in outcome.faults)
    missing = sum(outcome.state == "planned" for outcome in outcomes)
    if missing:
        yield "To build", f"{missing} of {counted(make, 'jig')}, {make - missing} already there"
    for number, (jig, outcome) in enumerate(zip(plan.jigs, outcomes, strict=True), start=1):
        if jig.owned:
            yield "Shelf", f"jig {number}: {outcome.jig_mark}, {outcome.folder}"
    if never := barred(plan, outcomes):
        yield "DO NOT DRILL", "; ".join(pair.row.ticket for pair, _ in never.values())


def shelf_words(plan: Plan) -> str:
    """How many jigs there are and, where some are owned, how many of them are to be made."""
    owned = len(plan.jigs) - plan.to_make
    return f"{len(plan.jigs)}" + (
        f", {owned} on the shelf, {plan.to_make} to make" if owned else ""
    )


def warnings_of(outcomes: Sequence[Outcome]) -> Iterator[Finding]:
    """Every warning once, each with the jigs that it is of."""
    jigs: dict[Finding, list[str]] = {}
    for count, outcome in enumerate(outcomes, start=1):
        for warning in outcome.warnings:
            jigs.setdefault(warning, []).append(f"{count}")
    for warning, numbers in jigs.items():
        yield replace(warning, where=f"jig {', '.join(numbers)}")


def job_lines(job: PrintJob, jigs: int) -> Iterator[str]:
    """What is printed and bought, each line with its heading."""
    if job.jigs < jigs:
        yield f"Of the {counted(job.jigs, 'jig')} built so far:"
    for heading, words in job.words():
        yield f"{f'{heading}:' if heading else '':<10}{words}"


def as_dict(
    plan: Plan, outcomes: Sequence[Outcome], job: PrintJob | None, sheet: Path | None
) -> dict[str, object]:
    """The evening as plain values; lengths in mm, jigs and tasks in the order of the sheet."""
    states: list[dict[str, object]] = [
        {
            "state": outcome.state,
            "jig_mark": outcome.jig_mark,
            "folder": str(outcome.folder),
            "errors": [fault.as_dict() for fault in outcome.faults],
            "warnings": [warning.as_dict() for warning in outcome.warnings],
        }
        for outcome in outcomes
    ]
    never = barred(plan, outcomes)
    return {
        "pairs": len(plan.pairs),
        "skis": plan.skis,
        "clampings": plan.clampings,
        "lower_bound": plan.bound,
        "to_make": plan.to_make,
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
                        **task.pair.row.model_dump(include=TOLD),
                        "by_slot": task.by_slot,
                        "skis": {ski: [asdict(one) for one in each] for ski, each in task.skis},
                    }
                    for task in jig.tasks
                ],
                **state,
            }
            for number, (jig, state) in enumerate(zip(plan.jigs, states, strict=True), start=1)
        ],
        "do_not_drill": [pair.row.ticket for pair, _ in never.values()],
        "print_job": job.as_dict() if job else None,
        "sheet": str(sheet) if sheet else None,
    }
