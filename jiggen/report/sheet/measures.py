"""Lengths and a few facts as the sheet writes them: mm, and inches beside them where wanted."""

from __future__ import annotations

from jiggen.record import JigRecord
from jiggen.report.sheet.document import Units
from jiggen.units import INCH, number


def inches(value: float) -> str:
    """A length in mm as inches to a thousandth."""
    return f"{value / INCH + 0.0:.3f}"


def short(value: float, units: Units, digits: int = 2) -> str:
    """A length in mm without its unit: ``155.3``, or ``155.3 (6.114)`` with inches."""
    figures = number(value, digits)
    return figures if units == "mm" else f"{figures} ({inches(value)})"


def full(value: float, units: Units) -> str:
    """A length in mm with its unit: ``155.3 mm``, or ``155.3 mm (6.114 in)`` with inches."""
    return f"{number(value)} mm{in_brackets(value, units)}"


def in_brackets(value: float, units: Units) -> str:
    """Nothing, or a space and a length in mm as inches in brackets."""
    return "" if units == "mm" else f" ({inches(value)} in)"


def ski_widths(job: JigRecord, units: Units) -> str:
    """The range of ski widths: ``84–112 mm``, with inches ``84–112 mm (3.307–4.409 in)``."""
    ends = dict.fromkeys((job.inputs.ski.least, job.inputs.ski.most))
    words = f"{'–'.join(map(number, ends))} mm"
    return words if units == "mm" else f"{words} ({'–'.join(map(inches, ends))} in)"


def boot_lengths(job: JigRecord, units: Units) -> str:
    """The boot sole of a jig: one length, or from and to."""
    if job.inputs.boots is None:
        return full(job.inputs.boot, units)
    least, most = job.inputs.boots
    return f"{number(least)} to {full(most, units)}"


def which_skis(job: JigRecord) -> str:
    """Which ski of a pair the jig is for."""
    if job.inputs.pair == "same":
        return "left and right"
    return f"{job.inputs.side.upper()} ski only"
