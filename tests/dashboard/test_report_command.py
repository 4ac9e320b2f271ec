"""The report says what the commands say, in HTML and in PDF, and is refused where it cannot be."""

import io
import json
import re
from html import unescape
from pathlib import Path

import numpy as np
import pypdf
import pytest
from PIL import Image

from analysis.base.time import parse_rfc3339
from analysis.readings.readings import Readings
from collector.files.log_writing import write_log
from collector.files.plant_file import load_plants
from dashboard.cli import main
from dashboard.parts.words import figure
from dashboard.report.blocks import photo
from dashboard.report.sections import found_words

PLANT = """
[plant]
name = "Quay House <1>"
timezone = "Europe/Dublin"
[tariff]
currency = "EUR"
electricity_per_kwh = 0.31
[[boiler]]
id = "boiler"
fuel = "oil"
input_kw = 24.0
[[pump]]
id = "heating"
drive = "electronic"
always_on = true
rated_power_w = [4, 40]
[[channel]]
id = "heating.power"
of = "heating"
quantity = "power"
unit = "W"
interval_s = 60
[[swap]]
pump = "heating"
time = 2026-01-15T10:00:00Z
claim_kwh_per_year = 900
old = { drive = "induction", rated_power_w = [45, 65], always_on = true }
new = { drive = "electronic", rated_power_w = [4, 40], always_on = true }
"""
START = parse_rfc3339("2026-01-01T00:00:00Z")
SWAP = parse_rfc3339("2026-01-15T10:00:00Z")


def readings() -> Readings:
    """Four weeks: 60 W up to the swap, 12 W after it, at rest for the last six hours."""
    times = START + np.arange(28 * 1440) * 60_000
    watts = np.where(times < SWAP, 60.0, 12.0)
    watts[-360:] = 0.0
    return Readings.of(times, watts + 0.2 * np.sin(np.arange(len(times))) * (watts > 0))


@pytest.fixture
def plant(tmp_path: Path) -> Path:
    path = tmp_path / "plant.toml"
    path.write_text(PLANT)
    (tmp_path / "settings.toml").write_text("")
    return path


@pytest.fixture
def log(plant: Path) -> Path:
    path = plant.with_name("log.csv.gz")
    (channel,) = load_plants(plant)[0].channels
    write_log(path, [(channel, readings())])
    return path


def text_of(pdf: Path) -> str:
    pages = [page.extract_text() for page in pypdf.PdfReader(pdf).pages]
    return re.sub(r"\s+", " ", " ".join(pages))


def test_both_forms_hold_what_the_commands_say(
    plant: Path, log: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Energy, saving, verdict and finding in the report are those of the JSON answers."""
    where = ["--plant", str(plant), "--log", str(log)]
    pdf, page = plant.with_name("r.pdf"), plant.with_name("r.html")
    assert main(["report", str(pdf), str(page), *where, "--json"]) == 0
    answered = json.loads(capsys.readouterr().out)
    assert answered["files"] == {str(f): f.stat().st_size for f in (pdf, page)}
    main(["saving", *where, "--json"])
    saving = json.loads(capsys.readouterr().out)
    main(["health", *where, "--json"])
    (stall,) = [f for f in json.loads(capsys.readouterr().out)["findings"] if f["fault"] == "stall"]
    html = page.read_text()
    for text in (text_of(pdf), unescape(html)):
        for words in (
            "In short",
            "1 kind of finding,",
            "heating.power",
            "28.0 days",
            f"the claim of 900 kWh is {saving['verdict'].replace('_', ' ')}",
            f"it saves {figure(saving['saving_per_year']['value'], 2)} kWh",
            "Pump does not run although it should",
            stall["first_check"],
            "induction, 45 to 65 W",
            "never counted as zero",
            "carbon monoxide",
        ):
            assert words in text
    assert "Quay House &lt;1&gt;" in html
    assert "<1>" not in html
    assert "Quay House <1>" in text_of(pdf)


@pytest.mark.parametrize(
    ("kinds", "urgent", "says"),
    [
        (0, 0, "Nothing was found in the time looked at."),
        (1, 1, "1 kind of finding, 1 lasts and wants attention."),
        (3, 0, "3 kinds of findings, none last and want attention."),
    ],
)
def test_findings_are_counted_in_a_sentence(kinds: int, urgent: int, says: str) -> None:
    """None, one and several."""
    assert found_words(kinds, urgent) == says


def test_pictures_are_in_both_and_have_words(plant: Path, log: Path) -> None:
    """Power day by day, before against after, the saving so far: each with words for the blind."""
    pdf, page = plant.with_name("r.pdf"), plant.with_name("r.html")
    assert main(["report", str(pdf), str(page), "--plant", str(plant), "--log", str(log)]) == 0
    alts = re.findall(r'<img src="data:image/png;base64,[^"]+" alt="([^"]+)">', page.read_text())
    assert len(alts) == 3
    assert alts[0].startswith("Mean electric power of heating")
    images = [image for one in pypdf.PdfReader(pdf).pages for image in one.images]
    assert len(images) == 3
    for image in images:
        found = np.asarray(Image.open(io.BytesIO(image.data)).convert("L"))
        assert found.std() > 10, "an empty picture"


def test_the_journal_is_in_it_where_the_store_is_asked(
    plant: Path, log: Path, tmp_path: Path
) -> None:
    """Logbook, steps, watts and the photo of the record; an altered photo is left out."""
    where = ["--plant", str(plant), "--settings", str(tmp_path / "settings.toml")]
    assert main(["import", str(log), *where]) == 0
    picture = tmp_path / "plate.png"
    Image.new("RGB", (1600, 1200), (10, 120, 60)).save(picture)
    main(["swap", "start", *where, "--who", "A. Fitter", "--time", "2026-01-15T10:00:00Z"])
    main(["swap", "record", *where, "--done", "dead", "--watts", "old:III=64.2"])
    main(["swap", "record", *where, "--photo", str(picture), "--words", "the old plate"])
    main(["logbook", "add", "topped up to 1.4 bar", "--kind", "refill", *where])
    pdf, page = tmp_path / "r.pdf", tmp_path / "r.html"
    assert main(["report", str(pdf), str(page), *where]) == 0
    for text in (text_of(pdf), page.read_text()):
        for words in ("A. Fitter", "done: dead", "64.2 W", "topped up to 1.4 bar", "the old plate"):
            assert words in text
    assert "data:image/jpeg" in page.read_text()
    (kept,) = (tmp_path / "stokehold.photos").iterdir()
    kept.write_bytes(b"altered")
    main(["report", str(page), *where])
    assert "data:image/jpeg" not in page.read_text()


@pytest.mark.parametrize(
    ("out", "more", "told"),
    [
        ("r.doc", [], "a report is written as .pdf or .html"),
        ("absent/r.pdf", [], "cannot be written"),
        ("r.pdf", ["--from", "2031-01-01T00:00:00Z", "--to", "2031-01-01T00:00:00Z"], "no reading"),
    ],
)
def test_what_cannot_be_written_is_refused(
    out: str,
    more: list[str],
    told: str,
    plant: Path,
    log: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Status 2 and one line that says what to do."""
    asked = ["report", str(plant.parent / out), "--plant", str(plant), "--log", str(log)]
    assert main([*asked, *more]) == 2
    assert told in capsys.readouterr().err


def test_photo_of_a_phone_stands_upright(tmp_path: Path) -> None:
    """Exif 2.32 tag 0x0112: value 6 says that the picture lies on its side."""
    path, exif = tmp_path / "plate.jpg", Image.Exif()
    exif[0x0112] = 6
    Image.new("RGB", (60, 40)).save(path, exif=exif)
    made = photo(path, "plate")
    assert made is not None
    assert Image.open(io.BytesIO(made.content)).size == (40, 60)


def test_picture_too_large_to_be_one_costs_no_report(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A file that says it holds more than any camera takes is left out like one that is none."""
    path = tmp_path / "plate.png"
    Image.new("RGB", (60, 40)).save(path)
    monkeypatch.setattr(Image, "MAX_IMAGE_PIXELS", 100)
    assert photo(path, "plate") is None
