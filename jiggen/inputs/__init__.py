"""Common ground: reading files that people write, TOML and CSV, with the place of every fault.

`document` reads a TOML file, `table` a CSV file; both are a `Source`, which turns faults into
findings with file, line and key, under the prefix of the package that reads.  `shape` checks
values by pydantic models.  `faults` has the words that all of them share.

A reader checks the fields of the whole file first, and reports every fault of them at once.
Checks of values against each other run only where every field is valid.
"""
