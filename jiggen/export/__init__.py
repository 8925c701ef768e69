"""Writes the files of a jig; nothing here decides anything about it.

`jiggen.export.write` and `.preview` load heavy libraries: they are imported where they are used.
"""
