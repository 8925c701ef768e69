"""A small shop: a reusable jig is printed, checked, and then a pair stands on the bench."""

from __future__ import annotations

from pathlib import Path


def test_a_shop_makes_a_jig_for_many_boots_and_drills_a_pair_with_it(walk):
    assert "club-piste" in walk.type("patterns")
    walk.type("layout club-piste --boot 306 --svg look.svg --pdf look.pdf")
    assert "100 mm" in walk.words("look.pdf")

    said = walk.type("build club-piste --boot 300-310 --ski 84-112")
    (made,) = Path("out").iterdir()
    first = said.index("To print")
    assert first < said.index("Files verified")  # what to do comes first
    assert "DIN 179" in said
    assert "sheet.pdf" in said

    # What a shop keeps beside the files stays, and is no fault.
    (made / "notes.txt").write_text("bush 3 is tight", encoding="utf-8")
    (made / "photo.jpg").write_bytes(b"\xff\xd8 a photo")
    said = walk.type(f"check {made}")
    assert "notes.txt" in said
    assert "Files verified" in said

    # The finished jig is measured: as good as drawn, so it may be used.
    walk.type(f"printed {made} --blank m.toml --caliper 150")
    assert Path("m.toml").read_text(encoding="utf-8").count("value") >= 4

    # The pair in hand: its line, what the rails read, where the stop goes.
    walk.type(
        f"sheet {made} --boot 306 --width-at 150:96 --width-at -200:94 --thickness 23/21 "
        "--ticket 'Resi, race ski' -o resi.pdf"
    )
    page = walk.words("resi.pdf")
    assert "2nd line from 310 to 300" in page
    assert "about 47.7" in page  # half of 96 mm and 94 mm, between them
    assert "Resi, race ski" in page
    assert "ISO 11088" in page
    said = walk.type(f"sheet {made} --boot 306 --width-at 150:66 -o narrow.pdf", code=1)
    assert "66" in said
    assert not Path("narrow.pdf").exists()

    # The next ski has metal: another jig, which never takes the place of this one.
    said = walk.type(f"build club-piste --boot 300-310 --ski 84-112 --core metal --out {made}", 2)
    assert "for another core" in said
    assert (made / "notes.txt").exists()
