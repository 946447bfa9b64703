"""Tests run from the repository's root, wherever pytest was started."""

from __future__ import annotations

from functools import partial
from pathlib import Path

import pytest
from written import faults_of, read_back


@pytest.fixture(autouse=True)
def _at_the_root(monkeypatch):
    monkeypatch.chdir(Path(__file__).resolve().parent.parent)


@pytest.fixture
def read(tmp_path):
    """Save a table and read its only blade."""
    return partial(read_back, tmp_path)


@pytest.fixture
def faults(tmp_path):
    """Save a table that cannot be read, and return what is wrong with it."""
    return partial(faults_of, tmp_path)
