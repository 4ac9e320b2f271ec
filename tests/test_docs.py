"""What the texts name is there: files, links, keys, pages, rooms, faults, variables."""

import dataclasses
import re
import shutil
from collections.abc import Iterable, Iterator
from pathlib import Path

import pytest

from analysis.faults.registry import FAULTS
from analysis.plant.plant import Boiler, Channel, Pump, PumpPlate, Store, Swap, Tariff
from collector.files.plant_file import load_plant
from collector.files.settings import Settings, load_settings

ROOT = Path(__file__).parents[1]
FLOORS = ("analysis", "collector", "dashboard")
TEXTS = sorted((*ROOT.glob("*.md"), *ROOT.glob("*/README.md")))
LONGEST = {"README.md": 200, "DEVELOPERS.md": 200}
"""Lines that can be read in one sitting."""

BY_HAND = r"\. \.venv/bin/activate|ruff format|systemctl enable|(pytest|python|sh) .*"
"""Commands that are no command of the program: they come with the environment."""

ids = [str(text.relative_to(ROOT)) for text in TEXTS]
each_text = pytest.mark.parametrize("text", TEXTS, ids=ids)


def read(text: Path) -> str:
    """A text as it is written."""
    return text.read_text(encoding="utf-8")


def anchors(text: Path) -> set[str]:
    """Names by which a text's headings are linked."""
    heads = re.findall(r"^#+ (.*)$", read(text), re.MULTILINE)
    return {re.sub(r"[^\w -]", "", head).lower().replace(" ", "-") for head in heads}


@each_text
def test_links_lead_somewhere(text: Path) -> None:
    """Every relative link has its file, and every anchor its heading."""
    lost = []
    for target in re.findall(r"\]\(([^)\s]+)\)", read(text)):
        if re.match(r"https?:", target):
            continue
        path, _, anchor = target.partition("#")
        file = text.parent / path if path else text
        if not file.exists() or (anchor and anchor not in anchors(file)):
            lost.append(target)
    assert lost == []


@each_text
def test_files_that_are_named_exist(text: Path) -> None:
    """Paths in the sources, written as code or given to a command."""
    folders = "|".join((*FLOORS, "tests", "deploy", "sample_logs", r"\.ci"))
    named = set(re.findall(rf"(?<![\w./-])((?:{folders})/[\w./-]*\w/?)", read(text)))
    assert {path for path in named if not (ROOT / path).exists()} == set()


@each_text
def test_every_line_of_code_is_a_command_that_is_known(text: Path) -> None:
    """Indented blocks hold commands only; those of the program are run by another test."""
    blocks = re.sub(r"^```.*?^```$", "", read(text), flags=re.MULTILINE | re.DOTALL)
    lines = re.findall(r"^ {4,}(\S.*)$", blocks, re.MULTILINE)
    unknown = [line for line in lines if not re.match(rf"stokehold |{BY_HAND}", line)]
    assert unknown == []


@pytest.mark.parametrize(("name", "most"), LONGEST.items())
def test_a_first_text_is_read_in_one_sitting(name: str, most: int) -> None:
    """What grows longer belongs beside what it explains."""
    assert len(read(ROOT / name).splitlines()) <= most


def tables(text: Path) -> Iterator[str]:
    """TOML blocks of a text."""
    yield from re.findall(r"^```toml\n(.*?)^```$", read(text), re.MULTILINE | re.DOTALL)


def test_examples_of_files_are_sound_and_hold_every_key(tmp_path: Path) -> None:
    """Whoever copies an example has a file that loads; no key is left unexplained."""
    plant, settings, *others = tables(ROOT / "collector/README.md")
    (tmp_path / "plant.toml").write_text(plant)
    load_plant(tmp_path / "plant.toml")
    for text in (*others, settings):
        (tmp_path / "settings.toml").write_text(text)
        load_settings(tmp_path / "settings.toml")
    parts = (Tariff, Boiler, Pump, Store, Channel, Swap, PumpPlate)
    keys = {field.name for part in parts for field in dataclasses.fields(part)}
    assert {key for key in keys if not re.search(rf"\b{key} = ", plant)} == set()
    kinds = [type(getattr(Settings(), f.name)) for f in dataclasses.fields(Settings)]
    keys = {f.name for kind in kinds if dataclasses.is_dataclass(kind) for f in fields_of(kind)}
    assert {key for key in keys if not re.search(rf"\b{key} = ", settings)} == set()


def fields_of(kind: type) -> tuple[dataclasses.Field, ...]:
    """Keys of a table of the settings."""
    return dataclasses.fields(kind)


@pytest.mark.parametrize("file", ["README.md", "deploy/settings.example.toml"])
def test_short_examples_of_settings_load(file: str, tmp_path: Path) -> None:
    """The first settings that somebody copies."""
    path = tmp_path / "settings.toml"
    if file.endswith(".toml"):
        shutil.copy(ROOT / file, path)
    else:
        (text,) = tables(ROOT / file)
        path.write_text(text)
    load_settings(path)


def test_variables_of_the_environment_are_explained() -> None:
    """Every one that the program reads, and none that nothing reads."""
    floors = {p for floor in FLOORS for p in (ROOT / floor).rglob("*.py")}
    around = {*ROOT.glob("deploy/*.*"), ROOT / "tests/conftest.py", ROOT / "tests/servers.py"}
    told = variables(TEXTS)
    assert told <= variables(floors | around)
    assert variables(floors) <= told


def variables(files: Iterable[Path]) -> set[str]:
    """Names of variables of the environment in files."""
    return {found for file in files for found in re.findall(r"STOKEHOLD_[A-Z_]+", read(file))}


def test_faults_are_explained_by_their_names() -> None:
    """The tables of what is judged name every fault of the registry and no other."""
    rows = re.findall(r"^\| (`\w+`[^|]*) \|", read(ROOT / "analysis/README.md"), re.MULTILINE)
    assert {name for row in rows for name in re.findall(r"`(\w+)`", row)} == set(FAULTS)


def test_rooms_are_described() -> None:
    """A stranger finds every room in the developers' table."""
    table = read(ROOT / "DEVELOPERS.md")
    doors = [p.parent for floor in FLOORS for p in (ROOT / floor).glob("*/**/__init__.py")]
    rooms = {".".join(door.relative_to(ROOT).parts) for door in doors}
    assert {room for room in rooms if f"`{room}`" not in table} == set()
    named = set(re.findall(rf"`((?:{'|'.join(FLOORS)})\.[\w.]+)`", table))
    assert named <= rooms
