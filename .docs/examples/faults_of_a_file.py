"""Every fault of a pattern file, as data."""

from pathlib import Path

import jiggen

Path("mine.toml").write_text('format = 1\nname = "Mine"\nbot = [280, 300]\n', encoding="utf-8")
try:
    jiggen.read_pattern("mine.toml")
except jiggen.InputError as error:
    for finding in error.findings:
        print(finding.code, finding.where, finding.message, sep=" | ")
