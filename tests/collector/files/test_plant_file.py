"""Plant files: the full form is read, and every mistake is named with line, key and remedy."""

from pathlib import Path

import pytest

from analysis.plant.plant import PumpPlate
from collector.errors import FormError
from collector.files.plant_file import load_plant, load_plants, load_sound_plants, quoted

FULL = """\
[plant]
name = "Quay House"
timezone = "Europe/Dublin"
[tariff]
currency = "EUR"
electricity_per_kwh = 0.31
fuel_per_kwh = 0.11
[[boiler]]
id = "boiler"
fuel = "gas"
input_kw = 24.0
condensing = false
[[pump]]
id = "heating"
drive = "electronic"
duty = "heating"
always_on = false
rated_power_w = [4, 40]
port_to_port_mm = 180
[[store]]
id = "store"
volume_l = 200
[[channel]]
id = "heating.power"
of = "heating"
quantity = "power"
place = "flow"
unit = "W"
topic = "cellar/plug-2/state"
payload = "/power"
interval_s = 10
reports = "periodic"
[[swap]]
pump = "heating"
time = 2026-03-14T10:30:00Z
claim_kwh_per_year = 420
old = { drive = "induction", rated_power_w = [45, 65], always_on = true }
new = { drive = "electronic", rated_power_w = [4, 40] }
"""


def write(path: Path, text: str) -> Path:
    path.write_text(text)
    return path


def problems(tmp_path: Path, text: str) -> list[str]:
    with pytest.raises(FormError) as refused:
        load_plant(write(tmp_path / "plant.toml", text))
    return [p.removeprefix(str(tmp_path / "plant.toml")) for p in refused.value.problems]


def test_full_form_is_read(tmp_path: Path) -> None:
    """Every key of the form arrives where it belongs."""
    plant = load_plant(write(tmp_path / "plant.toml", FULL))
    assert plant.key == "quay-house"
    assert plant.boilers[0].input_kw == 24.0
    assert plant.pumps[0].rated_power_w == (4.0, 40.0)
    assert plant.channels[0].topic == "cellar/plug-2/state"
    assert plant.swaps[0].old == PumpPlate(
        drive="induction", rated_power_w=(45.0, 65.0), always_on=True
    )
    assert plant.swaps[0].time.isoformat() == "2026-03-14T10:30:00+00:00"


def test_classes_and_plugs_are_read(tmp_path: Path) -> None:
    """What instruments are held to, and which plug measured which pump."""
    text = FULL.replace('reports = "periodic"', 'reports = "periodic"\naccuracy_class = "B"')
    text = text.replace("[4, 40] }", '[4, 40], plug = "white 2" }')
    plant = load_plant(write(tmp_path / "plant.toml", text))
    assert plant.channels[0].accuracy_class == "B"
    assert (plant.swaps[0].old.plug, plant.swaps[0].new.plug) == (None, "white 2")


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ('"gas"', '"coal"', ":10: [boiler], key 'fuel': is 'coal'; use one of 'gas', 'oil' or"),
        ("24.0", '"24"', ":11: [boiler], key 'input_kw': must be a number"),
        ("0.11", "0.11\ngas_mj_per_m3 = 9.8", "key 'gas_mj_per_m3': must be between 20 and 60"),
        ("24.0", "-1", ":11: [boiler], key 'input_kw': must be above 0"),
        ("volume_l", "volume", ":22: [store], key 'volume': is unknown here; did"),
        ('of = "heating"', 'of = "heatin"', ":25: [channel], key 'of': 'heatin' is no boiler"),
        ('id = "store"', 'id = "heating"', ":21: [store], key 'id': 'heating' is used twice"),
        ('id = "store"', 'id = "Store"', ":21: [store], key 'id': 'Store' may hold only a-z"),
        ('unit = "W"', 'unit = "Cel"', ":28: [channel], key 'unit': 'Cel' does not fit"),
        ('"power"\nplace = "flow"', '"temperature"', "key 'place': is missing; a temperature"),
        ('"power"', '"heat"', ":26: [channel], key 'quantity': is 'heat'; use one of 'power'"),
        ('"/power"', '"power"', ":30: [channel], key 'payload': 'power' is neither"),
        ("plug-2/state", "plug-2/#", ":29: [channel], key 'topic': must be one full topic"),
        ("interval_s = 10", "interval_s = 0", ":31: [channel], key 'interval_s': must be above"),
        ('"periodic"', '"periodic"\naccuracy_class = "4"', ":33: [channel], key 'accuracy_class'"),
        ('"/power"', '"/power"\naccuracy_class = "1"', "'1' is no class known here; use A or"),
        ("Europe/Dublin", "Europe/Cork", ":3: [plant], key 'timezone': 'Europe/Cork' is no IANA"),
        ("10:30:00Z", "10:30:00", ":35: [swap], key 'time': needs its offset"),
        ('pump = "heating"', 'pump = "x"', ":34: [swap], key 'pump': 'x' is no pump of this file"),
        ("always_on = true", "alwayson = true", ":37: [swap], key 'old.alwayson': is unknown here"),
        ("[4, 40]\nport", "[40, 4]\nport", "key 'rated_power_w': must be [least, greatest] watts"),
        ("[4, 40]\nport", "[4]\nport", ":18: [pump], key 'rated_power_w': must be a list"),
        ("[[store]]", "[store]", ": [store]: must be written [[store]]"),
        ("[[store]]", "[[tank]]", ": [tank]: is unknown here"),
        ("[plant]", "[plants]", "[plants]: is unknown here; did you mean 'plant'?"),
        ('name = "Quay House"\n', "", ":1: [plant], key 'name': is missing; add it"),
        ('name = "Quay House"', 'name = ""', ":2: [plant], key 'name': is empty"),
        ('"Quay House"', r'"Quay\nBcc: a@example.org"', "key 'name': must be one line of at most"),
        ('"Quay House"', f'"{"Quay" * 99}"', "key 'name': must be one line of at most 120"),
        ("always_on = false", "always_on = maybe", ": is no valid TOML: "),
        ("24.0", "nan", ":11: [boiler], key 'input_kw': must be a finite number"),
        ("24.0", "9" * 23, ":11: [boiler], key 'input_kw': is far too great; check its digits"),
        ("[4, 40]\nport", "[4, inf]\nport", "key 'rated_power_w': must be a finite number"),
        ("[45, 65]", "[nan, 65]", "key 'old.rated_power_w': must be a fin"),
        ('"Quay House"', "2026-01-01", ":2: [plant], key 'name': is a date or time; put it in q"),
        ('currency = "EUR"', 'currency = " "', ":5: [tariff], key 'currency': is empty"),
        ("per_kwh = 0.31", "per_kwh = -0.31", "key 'electricity_per_kwh': must be 0 or more"),
        ("per_year = 420", "per_year = -1", "key 'claim_kwh_per_year': must be 0 or more"),
    ],
)  # fmt: skip
def test_mistakes_are_named(tmp_path: Path, old: str, new: str, expected: str) -> None:
    """Each mistake gives one message with its line, its key and the remedy."""
    assert old in FULL
    found = problems(tmp_path, FULL.replace(old, new, 1))
    assert any(expected in p for p in found), found


def test_all_mistakes_are_told_at_once(tmp_path: Path) -> None:
    """Nobody has to run check ten times."""
    text = FULL.replace('"gas"', '"coal"').replace("volume_l", "volume").replace('"W"', '"V"')
    assert len(problems(tmp_path, text)) == 3


def test_second_table_of_a_kind_gets_its_own_line(tmp_path: Path) -> None:
    """Lines are those of the table with the mistake, not of the first of its kind."""
    text = FULL + '[[channel]]\nid = "b"\nof = "boiler"\nquantity = "power"\nunit = "V"\n'
    assert problems(tmp_path, text)[0].startswith(":43: [channel], key 'unit'")


@pytest.mark.parametrize("content", [b"\xff\xfe\x00", b"\x00" * 50, b"[[["])
def test_rubbish_is_one_clear_line(tmp_path: Path, content: bytes) -> None:
    """A file that is no text or no TOML is refused in one line with its path."""
    path = tmp_path / "plant.toml"
    path.write_bytes(content)
    with pytest.raises(FormError) as refused:
        load_plant(path)
    assert len(refused.value.problems) == 1
    assert str(path) in refused.value.problems[0]


def test_folder_of_plants(tmp_path: Path) -> None:
    """All files of a folder are read; two of one name, or none at all, are refused."""
    with pytest.raises(FormError, match="holds no plant file"):
        load_plants(tmp_path)
    write(tmp_path / "a.toml", FULL)
    write(tmp_path / "b.toml", FULL.replace("Quay House", "Mill"))
    assert [p.name for p in load_plants(tmp_path)] == ["Quay House", "Mill"]
    write(tmp_path / "c.toml", FULL)
    with pytest.raises(FormError, match="another file has a plant of this name"):
        load_plants(tmp_path)


def test_typo_in_one_file_leaves_the_others_usable(tmp_path: Path) -> None:
    """What is sound of a folder is there, what is not is named with file, line and remedy."""
    write(tmp_path / "a.toml", FULL)
    write(tmp_path / "b.toml", FULL.replace("Quay House", "Mill").replace("timezone", "timezon"))
    plants, problems = load_sound_plants(tmp_path)
    assert [p.name for p in plants] == ["Quay House"]
    assert any(str(tmp_path / "b.toml") in one and "timezon" in one for one in problems)
    (tmp_path / "a.toml").unlink()
    with pytest.raises(FormError, match="timezon"):
        load_sound_plants(tmp_path)


def test_quoted_text_reads_back() -> None:
    """Any text survives as a TOML string."""
    import tomllib

    for text in ("plain", 'say "hi"', "back\\slash", "line\nend", "Ünïcode"):
        assert tomllib.loads(f"x = {quoted(text)}")["x"] == text
