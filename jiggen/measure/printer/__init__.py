"""What one printer does to a part, measured on its gauge, and how to undo it."""

from jiggen.measure.printer.model import LARGEST_STRETCH, Compensation, Fits, Profile
from jiggen.measure.printer.store import find_profile, profile_names, save_profile

__all__ = [
    "LARGEST_STRETCH",
    "Compensation",
    "Fits",
    "Profile",
    "find_profile",
    "profile_names",
    "save_profile",
]
