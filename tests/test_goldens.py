"""Drawings and records against stored ones, byte by byte.

After a change that is meant: ``python -m pytest tests/test_goldens.py --renew``, and look at what
the version control shows.
"""

import json
from pathlib import Path

import pytest
from ladder_samples import ladder_manifest
from page_samples import club

from jiggen.export.hole_plan import layout_dxf, layout_svg
from jiggen.export.remount_svg import remount_svg
from jiggen.layout import lay_out
from jiggen.pattern import find_pattern, read_pattern
from jiggen.remount.shifts import OldHole, RemountLimits, moved, old_holes

GOLDENS = Path(__file__).parent / "data" / "goldens"
NOT_KEPT = {"jiggen", "version", "versions", "created"}  # differ from one release to the next


def holes(name, boot, **how):
    return lay_out(read_pattern(find_pattern(name)), boot, **how)


def old_and_new():
    wanted = holes("club-piste", 295.0)
    old = [*old_holes(holes("club-piste", 305.0)), OldHole("plugged", 0.0, 0.0, 4.1, True)]
    return remount_svg(wanted, moved(wanted, 5.0), old, RemountLimits())


def as_json(record):
    kept = {key: value for key, value in record.items() if key not in NOT_KEPT}
    return json.dumps(kept, indent=1, ensure_ascii=False) + "\n"


GOLDEN = {
    "club-piste-305.svg": lambda: layout_svg(holes("club-piste", 305.0), (84.0, 112.0)),
    "skew-plate-305.dxf": lambda: layout_dxf(
        holes("skew-plate", 305.0, side="right", core="metal"), (84.0, 112.0)
    ),
    "remount.svg": old_and_new,
    "club-piste-305.json": lambda: as_json(club()[2]),
    "step-track-ladders.json": lambda: as_json(
        {key: ladder_manifest("step-track")[key] for key in ("ladders", "boots", "openings")}
    ),
}


@pytest.mark.parametrize("name", GOLDEN)
def test_what_is_written_is_what_is_stored(name, request):
    found = GOLDEN[name]()
    data = found if isinstance(found, bytes) else found.encode()
    stored = GOLDENS / name
    if request.config.getoption("--renew"):
        stored.write_bytes(data)
    assert data == stored.read_bytes()


def test_nothing_is_stored_that_is_not_compared():
    assert {path.name for path in GOLDENS.iterdir()} == set(GOLDEN)
