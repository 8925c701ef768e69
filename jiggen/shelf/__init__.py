"""Room: shelf. The jigs that a workshop owns: where each is, what it serves, how it fared in use.

Folders stay the truth for what a jig is; the shelf, one SQLite file, holds what was done with it.
"""
