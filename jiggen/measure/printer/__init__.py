"""What one printer does to a part, measured on its gauge, and how to undo it."""

from jiggen.measure.printer.profile import (
    LARGEST_STRETCH,
    Compensation,
    Fits,
    Profile,
    find_profile,
    profile_names,
    save_profile,
)

__all__ = [
    "LARGEST_STRETCH",
    "Compensation",
    "Fits",
    "Profile",
    "find_profile",
    "profile_names",
    "save_profile",
]
