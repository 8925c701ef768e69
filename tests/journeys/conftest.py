"""A folder to work in, for each journey."""

import pytest
from walk import Walk


@pytest.fixture
def walk(tmp_path, monkeypatch, capsys):
    place = tmp_path / "Werkstatt im Tal"
    place.mkdir()
    monkeypatch.chdir(place)
    return Walk(place, capsys)
