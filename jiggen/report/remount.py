"""Whether a mount is clear of old holes, and the way out, in words.

How a value is set is said by whoever asks: an option of a command, a field of a page.
"""

from collections.abc import Callable, Iterator

from jiggen.layout import Layout
from jiggen.remount.shifts import SENSIBLE, Answer, Way
from jiggen.units import counted, fixed, listed, number

Setting = Callable[[str, str], str]
"""Words for an option's name and its value."""
CONFLICT = ("new hole", "old hole", "distance", "needed")


def old_lines(found: Answer, others: int, setting: Setting) -> Iterator[str]:
    """The old holes, and each ski by itself; `others` are on the ski that this mount is not for."""
    layout, limits = found.layout, found.limits
    plugged = sum(hole.plugged for hole in found.old)
    yield (
        f"old holes: {len(found.old) - plugged} open (keep {limits.open:g} mm), "
        f"{plugged} plugged (keep {limits.plugged:g} mm), centre to centre"
    )
    if others:
        other = "right" if layout.side == "left" else "left"
        who = f"{counted(others, 'old hole')} on the {other} ski alone"
        yield f"{who}: see {setting('side', other)}"
    elif sides := {hole.ski for hole in found.old if hole.ski}:
        bad = {one.old for one in found.conflicts}
        for side in sorted(sides):
            mine = {hole.id for hole in found.old if hole.ski in (None, side)}
            yield f"{side} ski: {'NOT CLEAR' if bad & mine else 'clear'}"


def verdict(found: Answer) -> str:
    """Whether every hole is clear."""
    if not found.conflicts:
        return "Every hole is clear at this mount."
    near = len({conflict.new for conflict in found.conflicts})
    verb = "is" if near == 1 else "are"
    return f"NOT CLEAR: {near} of {len(found.layout)} holes {verb} too near an old one."


def conflict_rows(found: Answer) -> Iterator[tuple[str, ...]]:
    """What is too near, by the columns of `CONFLICT`."""
    return ((c.new, c.old, fixed(c.distance), fixed(c.limit)) for c in found.conflicts)


def reused_lines(found: Answer) -> Iterator[str]:
    """The old holes that are used again."""
    for r in found.reused:
        yield f"{r.new} takes the place of {r.old}, {r.distance:.2f} mm off"


def plug_line(found: Answer, setting: Setting) -> str:
    """What plugging would do; nothing where it does not help."""
    plugs = listed(found.plug or found.plug_there)
    at = "this mount"
    if found.plugged_way:
        at = setting("shift", number(found.plugged_way.set_to, 3))
    return f"Plug {plugs}, and every hole is clear at {at}." if plugs else ""


def way_line(layout: Layout, end: str, way: Way, setting: Setting) -> str:
    """A nearest clear mount, towards one `end` of the ski."""
    by = number(abs(way.set_to - layout.mount_shift), 3)
    first, last = (number(shift, 3) for shift in way.room)
    line = f"{by} mm towards the {end}: {setting('shift', number(way.set_to, 3))}"
    return f"{line} (clear from {first} to {last})"


def far_lines(way: Way) -> Iterator[str]:
    """That a mount is farther than mounts are moved."""
    if way.far:
        yield f"farther than the {SENSIBLE:g} mm that mounts are moved"


def no_ways(found: Answer) -> Iterator[str]:
    """Towards which ends no mount is clear."""
    yield from filter(None, (found.to_tip_why, found.to_tail_why))
