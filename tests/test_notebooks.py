"""Every notebook runs from top to bottom."""

from __future__ import annotations

from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

ROOT = Path(__file__).resolve().parent.parent
NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
@pytest.mark.filterwarnings("ignore::DeprecationWarning")
def test_a_notebook_runs_from_top_to_bottom(path):
    notebook = nbformat.read(path, as_version=4)
    NotebookClient(notebook, timeout=120, resources={"metadata": {"path": path.parent}}).execute()
    errors = [
        output
        for cell in notebook.cells
        for output in cell.get("outputs", [])
        if output.output_type == "error" or output.get("name") == "stderr"
    ]
    assert not errors


def test_there_are_notebooks():
    assert NOTEBOOKS
