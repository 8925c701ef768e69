"""What the measurement of a print says goes to the shelf, whoever read the caliper."""

import json
from collections.abc import Mapping, Sequence
from pathlib import Path

from jiggen.errors import Finding, InputError
from jiggen.progress import note
from jiggen.shelf.jigs import OwnedJig
from jiggen.shelf.store import open_shelf, print_of

KEPT = ("limit", "verdict", "holes", "lengths", "readings", "scanned")
"""Of all that a measurement gives: what was read, and what it says of each hole."""


def keep_verdict(
    path: Path, folder: Path, against: Sequence[Finding], found: Mapping[str, object], by: str
) -> OwnedJig | None:
    """Note a measurement of the jig in `folder`, which passed where nothing speaks `against` it.

    None where the shelf has no such jig, or where there is no shelf; what keeps it from being
    noted is told beside the measurement.
    """
    if not path.exists():
        return None
    readings = json.dumps({name: found[name] for name in KEPT}, separators=(",", ":"))
    words = "; ".join(finding.message for finding in against)
    try:
        with open_shelf(path, new=False) as shelf:
            asked = print_of(folder)
            jig = shelf.find(asked.mark)
            if jig is None or jig.content != asked.content:
                return None
            passed = not against
            return shelf.do(jig.mark, "measured", by, passed=passed, text=words, readings=readings)
    except InputError as error:
        for finding in error.findings:
            note(finding)
        return None
