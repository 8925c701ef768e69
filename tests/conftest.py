"""One jig, built once a run for all tests that only look at it."""

import gc
import os
import shutil
import sys
from functools import lru_cache
from pathlib import Path

# One thread each: the workers of a test run share the cores already, and waiting threads burn them.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import pytest
from hypothesis import HealthCheck
from hypothesis import settings as examples
from sharing import built_once, read_once

import jiggen
from jiggen.cli import SELDOM
from jiggen.cores import counted_as_enough
from jiggen.layout import lay_out
from jiggen.pattern import find_pattern, read_pattern
from jiggen.verify import beds, parts, printing, verification
from jiggen.verify.engraving import judge_engraving

# No test is timed: a busy machine must not fail one.
examples.register_profile("untimed", deadline=None, suppress_health_check=[HealthCheck.too_slow])
examples.load_profile("untimed")


@pytest.fixture(scope="session", autouse=True)
def _no_settings_of_ones_own(tmp_path_factory):
    """Keep every test, and every program that it starts, from the settings of who runs it."""
    assert not Path("jiggen-defaults.toml").exists(), "tests are not run beside a shop's defaults"
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CONFIG_HOME", str(tmp_path_factory.mktemp("config")))
        patch.setenv("XDG_CACHE_HOME", str(tmp_path_factory.mktemp("cache")))
        yield


@pytest.fixture(scope="session", autouse=True)
def _no_file_read_twice():
    """Hundreds of verifications are of copies of one folder in which a single file was harmed."""
    with pytest.MonkeyPatch.context() as patch:
        for module, name in ((parts, "read_assembly"), (parts, "read_stl"), (beds, "read_3mf")):
            patch.setattr(module, name, read_once(getattr(module, name)))
        patch.setattr(printing, "_checks", lru_cache(64)(printing._checks.__wrapped__))
        yield


@pytest.fixture(scope="session", autouse=True)
def _no_helpers():
    """The workers of a test run are processes enough; tests of the verifier's own start theirs."""
    with counted_as_enough(True):
        yield


def pytest_addoption(parser):
    parser.addoption("--renew", action="store_true", help="store the goldens anew")


def pytest_collection_finish():
    """Spare the garbage collector the thousands of tests.

    It looks a tenth as often as in jiggen (`jiggen.cli.collect_seldom`): it took 4 % of the time.
    """
    gc.freeze()
    gc.set_threshold(10 * SELDOM)


@pytest.fixture(scope="session")
def club_layout():
    return lay_out(read_pattern(find_pattern("club-piste")), 305.0)


@pytest.fixture(scope="session")
def built(tmp_path_factory):
    """By the public API, as the shortest script does it."""

    def make(target):
        return jiggen.build("club-piste", boot=305, ski=(84, 112), out=target)

    return built_once(tmp_path_factory, "club", make)


@pytest.fixture
def folder(built, tmp_path):
    """A fresh copy of a good build, to be harmed."""
    return shutil.copytree(built.folder, tmp_path / "jig")


@pytest.fixture
def as_if_verified(monkeypatch):
    """For folders that hold a record alone: commands that work from one do not verify it."""
    monkeypatch.setattr(sys.modules["jiggen.verify"], "certify", lambda folder: None)


@pytest.fixture(scope="module")
def nothing_engraved():
    """For the samples of `verify_samples`, on which nothing is engraved: that is not judged."""
    others = tuple(row for row in verification.JUDGES if row[1] is not judge_engraving)
    assert len(others) == len(verification.JUDGES) - 1
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(verification, "JUDGES", others)
        yield


@pytest.fixture(scope="module")
def works():
    """What a desk has done in the background: one process, begun when something is asked of it."""
    from jiggen.desk.works import Works

    made = Works(1)
    yield made
    made.close()


@pytest.fixture
def desk(works, tmp_path, monkeypatch):
    """A client of the desk in an empty workshop folder."""
    from desk_client import let_in

    monkeypatch.chdir(tmp_path)
    with let_in(works) as client:
        yield client
