from jiggen.report.beds import bed_lines, to_print

BEDS = [
    {
        "file": "bed-1.3mf",
        "pieces": [{"part": part} for part in ("body-toe", "body-heel", "knob", "knob")],
    },
    {"file": "bed-2.3mf", "pieces": [{"part": "rail"}]},
]


def test_a_line_a_bed_counts_its_pieces():
    assert bed_lines(BEDS) == [
        "bed 1: body-toe, body-heel, 2 x knob (bed-1.3mf)",
        "bed 2: rail (bed-2.3mf)",
    ]


def test_a_summary_says_it_once_what_the_lines_are_for():
    first, second = to_print(BEDS)
    assert first.startswith("To print: bed 1: ")
    assert second == "          bed 2: rail (bed-2.3mf)"
    assert to_print([]) == []
