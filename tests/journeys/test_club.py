"""A mountain club: a list out of the office program, and many pairs in an evening."""

from __future__ import annotations

from pathlib import Path

# As an office program saves it: Windows-1252, semicolons, decimal commas, columns of its own.
LIST = """\
Ticket;Pattern;Boot;ski_toe;ski_heel;shift;Telefon;old_holes
Müller;Arvenal Club Piste;305;96,5;94;;12 34;
Resi;club-piste;300;98;96;-3;;
Jörg;Club-Piste;302,5;90;88;;;
"""


def test_a_club_plans_builds_and_drills_an_evening(walk):
    Path("liste.csv").write_bytes(LIST.encode("cp1252"))
    said = walk.type("evening liste.csv --plan")
    assert "telefon" in said.casefold()  # passed over, and said
    walk.type("evening liste.csv --workers 1 -o out/evening")
    sheet = walk.words("out/evening/run-sheet.pdf")
    for ticket in ("Müller", "Resi", "Jörg"):
        assert ticket in sheet
    assert "ISO 11088" in sheet

    said = walk.type("evening liste.csv --plan -o out/evening")
    assert "planned" not in said  # it is there already


def test_a_club_looks_at_old_holes_first(walk):
    Path("alt.csv").write_text("x;y;diameter;plugged\n152,4;17,3;4,1;nein\n", encoding="cp1252")
    said = walk.type("remount club-piste --boot 305 --old-holes alt.csv", code=2)
    assert "nein" in said
    Path("alt.csv").write_text("x;y;diameter;plugged\n152,4;17,3;4,1;no\n", encoding="cp1252")
    said = walk.type("remount club-piste --boot 305 --old-holes alt.csv --svg alt.svg", code=1)
    assert "--shift" in said
    assert "plug" in said
    assert Path("alt.svg").exists()
