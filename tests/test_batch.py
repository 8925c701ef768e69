"""Two jigs and one that cannot be, built as a batch; the same bytes as one alone."""

from batches import JigJob, build_all

from jiggen.design import Settings, SkiRange
from jiggen.job import Job
from jiggen.pattern import find_pattern, read_pattern


def test_a_batch_is_what_each_jig_is_alone(built, tmp_path):
    club = read_pattern(find_pattern("club-piste"))
    usual = Settings(ski=SkiRange(84, 112))
    thin = Settings(ski=SkiRange(84, 112), body=2.0)
    jobs = [
        JigJob("first", Job(club, (306.0, 306.0), usual), tmp_path / "first"),
        JigJob("thin", Job(club, (305.0, 305.0), thin), tmp_path / "thin"),
        # After another jig on the same process: nothing kept from that one may show.
        JigJob("club", Job(club, (305.0, 305.0), usual), tmp_path / "club"),
    ]
    found = {done.job.name: done for done in build_all(jobs, 1)}
    assert list(found) == ["first", "thin", "club"]
    assert [f.code for f in found["thin"].findings] == ["design.setting"]
    assert not (tmp_path / "thin").exists()
    for name in ("first", "club"):
        assert found[name].findings == ()
        assert found[name].value.verification.passed
        assert (found[name].value.folder / "manifest.json").is_file()
    for name, entry in built.record.values()["files"].items():
        if name != "preview.png":  # drawn by the graphics driver, not by us
            assert found["club"].value.record.values()["files"][name] == entry, name
