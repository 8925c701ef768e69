"""Common ground: reading files that people write, TOML and CSV, with the place of every fault.

A reader checks the fields of the whole file first, and reports every fault of them at once.
Checks of values against each other run only where every field is valid.
"""
