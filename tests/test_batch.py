"""Two jigs and one that cannot be, built as a batch; the same bytes as one alone."""

from batches import JigJob, build_all

from jiggen.design import Settings, SkiRange
from jiggen.layout import layout
from jiggen.pattern import find_pattern, read_pattern


def test_a_batch_is_what_each_jig_is_alone(built, club_layout, tmp_path):
    ski = SkiRange(84, 112)
    other = layout(read_pattern(find_pattern("club-piste")), 306.0)
    jobs = [
        JigJob("first", other, Settings(ski=ski), tmp_path / "first"),
        JigJob("thin", club_layout, Settings(ski=ski, body=2.0), tmp_path / "thin"),
        # After another jig on the same process: nothing kept from that one may show.
        JigJob("club", club_layout, Settings(ski=ski), tmp_path / "club"),
    ]
    found = {done.job.name: done for done in build_all(jobs, 1)}
    assert list(found) == ["first", "thin", "club"]
    assert [f.code for f in found["thin"].findings] == ["design.setting"]
    assert not (tmp_path / "thin").exists()
    for name in ("first", "club"):
        assert found[name].findings == ()
        assert found[name].value.passed
        assert (found[name].value.folder / "manifest.json").is_file()
    for name, entry in built.record.values()["files"].items():
        if name != "preview.png":  # drawn by the graphics driver, not by us
            assert found["club"].value.record.values()["files"][name] == entry, name
