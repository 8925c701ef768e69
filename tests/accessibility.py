"""What axe-core finds wrong with a page for people who do not see it or use no mouse.

axe-core (Deque, MPL 2.0; github.com/dequelabs/axe-core) comes as a file within Python packages.
Without others to install, only an old one does; .ci/run brings a newer one without what that
asks for, and the newest that is there is taken.
"""

from __future__ import annotations

import json
import re
from functools import cache
from importlib import metadata
from pathlib import Path

from browser import Tab

PACKAGES = ("axe-core-python", "axe-playwright-python")
# What the law asks in most places (WCAG 2.1 A and AA), and what axe calls good practice.
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "best-practice"]


@cache
def axe() -> tuple[tuple[int, ...], str]:
    """The version and the script of the newest axe-core that is installed."""
    found = []
    for package in PACKAGES:
        try:
            files = metadata.files(package) or []
        except metadata.PackageNotFoundError:
            continue
        for file in files:
            if file.name == "axe.min.js":
                script = Path(str(file.locate())).read_text(encoding="utf-8")
                version = re.match(r"/\*! axe v([\d.]+)", script)
                assert version, f"{package}: no axe-core"
                found.append((tuple(map(int, version[1].split("."))), script))
    assert found, f"none of {PACKAGES} is installed"
    return max(found)


def violations(tab: Tab, *rules: str) -> list[str]:
    """A line for each fault of the page in `tab`: rule, what it asks, and the element.

    All rules are asked unless some are named.
    """
    if not tab.run("typeof axe === 'object'"):
        tab.run(axe()[1] + ";0")
    asked = {"type": "rule", "values": rules} if rules else {"type": "tag", "values": RULES}
    options = json.dumps({"runOnly": asked, "resultTypes": ["violations"]})
    found = tab.run(f"axe.run(document, {options}).then(r => r.violations)")
    return [
        f"{fault['id']}: {fault['help']}: {' '.join(map(str, node['target']))}: "
        f"{' '.join(node['failureSummary'].split())}"
        for fault in found
        for node in fault["nodes"]
    ]
