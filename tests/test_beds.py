"""What is printed at once, in words."""

from jiggen.record.entries import LaidPiece, PrintBed
from jiggen.report.summary import to_print


def bed(number, *parts):
    laid = (LaidPiece(name=part, part=part, x=2.0, y=2.0) for part in parts)
    return PrintBed(file=f"bed-{number}.3mf", pieces=tuple(laid))


def test_a_summary_has_one_line_per_bed_that_counts_its_pieces():
    beds = [bed(1, "body-toe", "body-heel", "knob", "knob"), bed(2, "rail")]
    assert list(to_print(beds)) == [
        "To print: bed 1: body-toe, body-heel, 2 x knob (bed-1.3mf)",
        "          bed 2: rail (bed-2.3mf)",
    ]
    assert list(to_print([])) == []
