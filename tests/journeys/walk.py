"""A person at a terminal: commands typed in a folder of their own, and what came of them."""

from __future__ import annotations

import shlex
from dataclasses import dataclass
from pathlib import Path

import pytest
from pypdf import PdfReader

from jiggen.cli import main


@dataclass(frozen=True)
class Walk:
    """Types commands in `place`."""

    place: Path
    capture: pytest.CaptureFixture[str]

    def type(self, words: str, code: int = 0) -> str:
        """What `jiggen` and these words write to the terminal; it must end with `code`."""
        self.capture.readouterr()
        ended = main(shlex.split(words))
        said = self.capture.readouterr()
        assert ended == code, f"jiggen {words}: {ended}\n{said.out}\n{said.err}"
        return said.out + said.err

    def pages(self, name: str) -> list[str]:
        """The words on each page of a PDF."""
        return [page.extract_text() for page in PdfReader(self.place / name).pages]

    def words(self, name: str) -> str:
        """All words of a PDF, a single space between any two."""
        return " ".join(" ".join(self.pages(name)).split())
