"""The floors: imports go down only, and the lowest touches nothing."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
FLOORS = {"analysis": 0, "collector": 1, "dashboard": 2}
FORBIDDEN_BELOW = {
    "sqlite3", "paho", "dash", "plotly", "logging", "os", "pathlib", "socket",
    "threading", "time", "subprocess", "urllib", "requests", "sqlalchemy", "influxdb_client",
}  # fmt: skip


def imports(path: Path) -> Iterator[str]:
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            yield from (alias.name.split(".")[0] for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield node.module.split(".")[0]


SOURCES = [p for floor in FLOORS for p in sorted((ROOT / floor).rglob("*.py"))]


@pytest.mark.parametrize("path", SOURCES, ids=lambda p: str(p.relative_to(ROOT)))
def test_imports_go_down_only(path: Path) -> None:
    """Dashboard may import collector and analysis, collector analysis, analysis neither."""
    mine = FLOORS[path.relative_to(ROOT).parts[0]]
    upward = [name for name in imports(path) if FLOORS.get(name, -1) > mine]
    assert upward == []
    if mine == 0:
        assert FORBIDDEN_BELOW.isdisjoint(imports(path))


@pytest.mark.parametrize("path", SOURCES, ids=lambda p: str(p.relative_to(ROOT)))
def test_traps_are_not_sprung(path: Path) -> None:
    """No raw time units, no means or days by resampling: they lie over gaps and clock changes."""
    text = path.read_text()
    for trap in (r"\.asi8", r"\.resample\(", r"view\([\"']int64", r"fillna\(method"):
        assert not re.search(trap, text), trap
