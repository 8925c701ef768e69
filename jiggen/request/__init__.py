"""Room: request. What a person asks for, from words to values: typed on the command line or a page.

A block of options is a dataclass whose fields are annotated with rows of an options table, or are
blocks themselves; `reading` makes one of words, and says what is wrong with them.
"""
