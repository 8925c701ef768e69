"""Two jigs and one that cannot be, built as a batch; the same bytes as one alone."""

import datetime
import os

from batches import JigJob, build_one, prepare

from jiggen.design import Settings, SkiRange
from jiggen.executors import OwnProcesses, do_all
from jiggen.files import PAGE
from jiggen.job import Job
from jiggen.pattern import find_pattern, read_pattern

# Run by Python before anything else: the clock of another day.
ANOTHER_DAY = """
import datetime, time
DAY = 86400 * 400
now, nanoseconds, local, utc = time.time, time.time_ns, time.localtime, time.gmtime
time.time = lambda: now() + DAY
time.time_ns = lambda: nanoseconds() + DAY * 10**9
time.localtime = lambda at=None: local(time.time() if at is None else at)
time.gmtime = lambda at=None: utc(time.time() if at is None else at)
class Later(datetime.datetime):
    @classmethod
    def now(cls, tz=None):
        return cls.fromtimestamp(time.time(), tz)
    @classmethod
    def utcnow(cls):
        return cls.utcfromtimestamp(time.time())
datetime.datetime = Later
"""


def build_later(job: JigJob):
    """In the batch's process: another day, another seed of hashes, another user."""
    assert datetime.datetime.__name__ == "Later"
    assert os.environ["TZ"] == "Pacific/Auckland"
    return build_one(job)


def test_a_batch_on_another_day_is_what_each_jig_is_alone(built, tmp_path, monkeypatch):
    (tmp_path / "sitecustomize.py").write_text(ANOTHER_DAY)
    paths = [str(tmp_path), *filter(None, [os.environ.get("PYTHONPATH")])]
    for name, value in {
        "PYTHONPATH": os.pathsep.join(paths),
        "PYTHONHASHSEED": "12345",
        "TZ": "Pacific/Auckland",
        "LANG": "de_DE.UTF-8",
        "LC_ALL": "C",
        "USER": "somebody",
        "HOME": str(tmp_path),
    }.items():
        monkeypatch.setenv(name, value)
    monkeypatch.delenv("SOURCE_DATE_EPOCH", raising=False)
    club, hut = (read_pattern(find_pattern(name)) for name in ("club-piste", "hut-plate"))
    usual = Settings(ski=SkiRange(84, 112))
    thin = Settings(ski=SkiRange(84, 112), body=2.0)
    jobs = [
        JigJob("first", Job(hut, (305.0, 305.0), usual), tmp_path / "first"),
        JigJob("thin", Job(club, (305.0, 305.0), thin), tmp_path / "thin"),
        # After another jig on the same process: nothing kept from that one may show.
        JigJob("club", Job(club, (305.0, 305.0), usual), tmp_path / "club"),
    ]
    with OwnProcesses(1, prepare) as executor:
        found = {done.job.name: done for done in do_all(build_later, jobs, executor)}
    assert list(found) == ["first", "thin", "club"]
    assert [f.code for f in found["thin"].findings] == ["design.setting"]
    assert not (tmp_path / "thin").exists()
    for name in ("first", "club"):
        assert found[name].findings == ()
        assert found[name].value.verification.passed
        assert (found[name].value.folder / "manifest.json").is_file()
    files = built.record.values()["files"]
    again = found["club"].value.record.values()["files"]
    assert set(again) == set(files)
    for name, entry in files.items():
        if name not in ("preview.png", PAGE):  # the graphics driver draws it; the page shows it
            assert again[name] == entry, name
    assert again["preview.png"] != files["preview.png"] or again[PAGE] == files[PAGE]
