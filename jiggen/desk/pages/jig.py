"""A jig: asked for, seen as it is typed, built."""

from dataclasses import replace

from jiggen.desk.making import Answer, Product
from jiggen.desk.site import Place
from jiggen.drilling import check_all_boots
from jiggen.errors import Finding
from jiggen.job import deepest
from jiggen.layout import Layout, off_ski
from jiggen.request.products import JIG, JigRequest

NAV = Place("/jig", "Jig", "Choose a pattern, type boot and ski, build, print.")
FIELDS = {
    "layout.off-ski": "ski",
    "drilling.base": "thickness",
    "drilling.area": "area",
    "drilling.off-ski": "width-at",
}
"""The field that a finding about holes belongs to, by its code."""


def lay_out(asked: JigRequest) -> tuple[Layout, tuple[float, float]]:
    """Its holes for the shortest boot, and the skis."""
    job = asked.job()
    return job.lay_out(), job.skis


def look(asked: JigRequest) -> tuple[Finding, ...]:
    """What is wrong with the holes on that ski, as far as no jig needs to be designed to see it."""
    job = asked.job()
    layouts = [job.lay_out(boot) for boot in dict.fromkeys(job.boots)]
    level = dict.fromkeys(layouts[0].ids, asked.body)  # it decides no fault
    deep = deepest(layouts[0], job.limits)
    found = check_all_boots(
        layouts, level, job.ski_in_hand, job.limits, job.screws, too_deep=deep
    ).errors
    found += off_ski(layouts[0], job.skis[0])
    return tuple(
        replace(one, key=FIELDS[one.code], message=f"{one.key}: {one.message}")
        if one.code in FIELDS
        else one
        for one in found
    )


def answer(asked: JigRequest) -> Answer:
    """What one jig can do of it.  Raises InputError and CheckFailed, with what is nearest."""
    from jiggen.pipeline.products import plan_jig
    from jiggen.report.sides import about_reach
    from jiggen.report.summary import headline

    plan = plan_jig(asked.job())
    accuracy, boots = plan.known.accuracy, plan.known.boots
    lines = [f"Expect 95 of 100 holes, at the worst hole, {headline(accuracy)}."]
    lines.append(about_reach(accuracy.moving.reach))
    if boots and plan.known.reusable:
        served = f"{boots[0]:g} to {boots[1]:g} mm"
        lines.insert(0, f"Halves that are set one by one, with a line for every boot of {served}.")
    return Answer(tuple(lines), plan.warnings)


ROUTES = Product("/jig", "Jig", JIG, lay_out, look, answer).routes()
