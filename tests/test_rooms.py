"""The rooms: which may lean on which, by one table, and through which doors."""

import ast
import re
import subprocess
import sys
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

from analysis.faults.registry import FAULTS

ROOT = Path(__file__).parents[1]
FLOORS = ("analysis", "collector", "dashboard")

ORDER = (
    "analysis.base",
    "analysis.plant",
    "analysis.readings",
    "analysis.weather",
    "analysis.statistics",
    "analysis.firing",
    "analysis.pump",
    "analysis.energy",
    "analysis.alarms",
    "analysis.faults.drift",
    "analysis.faults.pump_state",
    "analysis.faults",
    "analysis.rehearsal.physics",
    "analysis.rehearsal.house",
    "analysis.rehearsal.course",
    "analysis.rehearsal.faults",
    "analysis.rehearsal.instruments",
    "analysis.rehearsal.plan",
    "analysis.rehearsal",
    "analysis.savings",
    "analysis.exchange",
    "analysis.reports",
    "analysis.score",
    "analysis.notebook",
    "analysis",
    "collector.errors",
    "collector.payloads",
    "collector.files",
    "collector.journal",
    "collector.store",
    "collector.mqtt",
    "collector.letters",
    "collector.installation",
    "collector.notify",
    "collector.nightly",
    "collector.process",
    "collector",
    "dashboard.command_line",
    "dashboard.parts",
    "dashboard.pages",
    "dashboard.web",
    "dashboard.report",
    "dashboard.commands",
    "dashboard.cli",
    "dashboard.__main__",
    "dashboard",
)
"""Rooms from the lowest up: each leans only on rooms before it. A module that lies in no room
of its floor stands by its own name."""

STRANGERS = (("analysis.rehearsal", "analysis.faults"),)
"""Pairs that know nothing of each other: rules written against the model find the model."""

NOT_BELOW = {
    "sqlite3", "paho", "dash", "plotly", "logging", "os", "pathlib", "socket",
    "threading", "time", "subprocess", "urllib", "requests", "sqlalchemy", "influxdb_client",
}  # fmt: skip
"""Libraries that reach the world: the lowest floor has none of them."""

TRAPS = (r"\.asi8", r"\.resample\(", r"view\([\"']int64", r"fillna\(method")
"""Raw time units, and means or days by resampling: they lie over gaps and clock changes."""


def module_name(path: Path) -> str:
    """Dotted name of a source file; a room's front door has the room's name."""
    return ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")


SOURCES = {module_name(p): p for floor in FLOORS for p in sorted((ROOT / floor).rglob("*.py"))}


def room_of(module: str) -> str:
    """Room a module lies in."""
    if SOURCES[module].name == "__init__.py" or module.count(".") == 1:
        return module
    return module.rpartition(".")[0]


@cache
def imports(module: str) -> tuple[str, ...]:
    """All that a module imports, our own by module name, even inside a function."""
    found: list[str] = []
    for node in ast.walk(ast.parse(read(module))):
        if isinstance(node, ast.Import):
            found += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module:
            full = [f"{node.module}.{alias.name}" for alias in node.names]
            found += [name if name in SOURCES else node.module for name in full]
    return tuple(found)


def crossings() -> Iterator[tuple[str, str]]:
    """Pairs of our modules, importer and imported, that lie in different rooms."""
    for module in SOURCES:
        for target in imports(module):
            if target in SOURCES and room_of(target) != room_of(module):
                yield module, target


def within(module: str, room: str) -> bool:
    """Whether a module lies in a room or in a room of that room."""
    return module == room or module.startswith(f"{room}.")


def test_every_room_stands_in_the_table() -> None:
    """A new room is a new line of the table; one that is gone leaves it."""
    assert {room_of(module) for module in SOURCES} == set(ORDER)


@pytest.mark.smoke
def test_rooms_lean_only_on_rooms_before_them() -> None:
    """The order holds for all floors, so no circle of rooms can arise."""
    upward = [
        f"{module} imports {target}"
        for module, target in crossings()
        if ORDER.index(room_of(target)) > ORDER.index(room_of(module))
    ]
    assert upward == []


def test_the_rules_and_the_rehearsal_are_strangers() -> None:
    """Neither side imports the other."""
    known = [
        f"{module} imports {target}"
        for module, target in crossings()
        for one, other in STRANGERS
        if (within(module, one) and within(target, other))
        or (within(module, other) and within(target, one))
    ]
    assert known == []


def test_other_rooms_come_in_by_the_doors() -> None:
    """What another room imports is named in the docstring of the room's front door."""
    doors = {
        room: set(re.findall(r"`(\w+)`", (ast.get_docstring(tree) or "").partition("Doors:")[2]))
        for room in ORDER
        for tree in [ast.parse(SOURCES[room].read_text())]
    }
    windows = [
        f"{module} imports {target}"
        for module, target in crossings()
        if room_of(target) != target and target.rpartition(".")[2] not in doors[room_of(target)]
    ]
    used = {target for _, target in crossings()}
    unused = [f"{r}.{d}" for r in ORDER for d in doors[r] if f"{r}.{d}" not in used]
    assert (windows, unused) == ([], [])


@pytest.mark.parametrize("floor", FLOORS)
def test_a_floor_is_sound(floor: str) -> None:
    """The lowest floor touches nothing of the world, and no floor springs a known trap."""
    mine = [module for module in SOURCES if within(module, floor)]
    found = [f"{m}: {trap}" for m in mine for trap in TRAPS if re.search(trap, read(m))]
    if floor == "analysis":
        outside = NOT_BELOW
        found += [f"{m}: {i}" for m in mine for i in imports(m) if i.split(".")[0] in outside]
    assert found == []


def read(module: str) -> str:
    """Source text of a module."""
    return SOURCES[module].read_text()


def test_one_judge_comes_alone() -> None:
    """Front doors load nothing: one judge brings only what it computes with."""
    code = (
        "import sys; import analysis.faults.air;"
        "print(sum(m.startswith('analysis.') for m in sys.modules))"
    )
    shown = subprocess.run([sys.executable, "-c", code], capture_output=True, check=True, cwd=ROOT)
    assert int(shown.stdout) < 40


NAMED_ELSEWHERE = {"analysis.firing.cycle_statistics"}
"""A key of the public JSON form has a fault's name: what a rule of thumb says, not the finding."""


def test_a_fault_is_named_in_its_own_module_alone() -> None:
    """Others refer to a fault by its row or by what its row says of it, never by a literal."""
    literals = [
        (module, node.value)
        for module in SOURCES
        for node in ast.walk(ast.parse(read(module)))
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and node.value in FAULTS
    ]
    homes = ("analysis.faults", "analysis.rehearsal.faults")
    strayed = [
        f"{module} names {fault}"
        for module, fault in literals
        if module not in {f"{home}.{fault}" for home in homes} | NAMED_ELSEWHERE
    ]
    assert strayed == []
    assert {fault for _, fault in literals} == set(FAULTS)


@pytest.mark.parametrize("home", ["analysis.faults", "analysis.rehearsal.faults"])
def test_a_fault_has_one_module_that_ends_in_its_row(home: str) -> None:
    """The module bears the fault's name, and its last statement is the row."""
    ends = {m: ast.parse(read(m)).body[-1] for m in SOURCES if room_of(m) == home}
    rows = {
        module.rpartition(".")[2]
        for module, last in ends.items()
        if isinstance(last, ast.Assign) and ast.unparse(last.targets[0]) == "FAULT"
    }
    assert rows == set(FAULTS)
