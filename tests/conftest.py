"""Tests run from the repository's root, wherever pytest was started."""

from __future__ import annotations

from pathlib import Path

import pytest


@pytest.fixture(autouse=True)
def _at_the_root(monkeypatch):
    monkeypatch.chdir(Path(__file__).resolve().parent.parent)
