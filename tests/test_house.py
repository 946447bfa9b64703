"""How the house is built: nothing imports itself by way of others, and no function is too long."""

from __future__ import annotations

import ast
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

ROOMS = sorted(Path("bladegeom").rglob("*.py"))
MOST_LINES, MOST_PARAMETERS = 90, 16


def test_no_room_imports_itself_by_way_of_others_not_even_for_its_types():
    grimp = pytest.importorskip("grimp")
    graph = grimp.build_graph("bladegeom")
    imports = {room: graph.find_modules_directly_imported_by(room) for room in graph.modules}
    TopologicalSorter(imports).prepare()


def functions(room: Path):
    for node in ast.walk(ast.parse(room.read_text("utf-8"))):
        if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef)):
            yield node


@pytest.mark.parametrize("room", ROOMS, ids=str)
def test_a_function_is_short_its_docstring_aside_and_takes_few_things(room):
    for function in functions(room):
        lines = (function.end_lineno or 0) - function.lineno + 1
        if ast.get_docstring(function):
            told = function.body[0]
            lines -= (told.end_lineno or 0) - told.lineno + 1
        taken = function.args
        assert lines <= MOST_LINES, function.name
        assert len(taken.posonlyargs + taken.args + taken.kwonlyargs) <= MOST_PARAMETERS
