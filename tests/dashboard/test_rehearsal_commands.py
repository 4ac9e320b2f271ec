"""The commands rehearse and score, as a person gives them."""

import json
import re

from dashboard.cli import main


def test_rehearse_then_score(tmp_path, capsys):
    """A written folder can be scored, ours and by a simple way."""
    folder = str(tmp_path / "one")
    assert (
        main(["rehearse", "stall", "--days", "3", "--seed", "6", "--no-year", "--out", folder]) == 0
    )
    for by in ("ours", "cusum"):
        capsys.readouterr()
        assert main(["score", folder, "--by", by, "--json"]) == 0
        document = json.loads(capsys.readouterr().out)
        assert document["plants"] == 1
        assert document["faults"]["stall"]["present"] == 1
    for pace, there in (("minute", {"stall"}), ("day", set())):
        capsys.readouterr()
        assert main(["score", folder, "--pace", pace, "--json"]) == 0
        assert set(json.loads(capsys.readouterr().out)["faults"]) == there


def test_findings_of_any_program_are_scored(tmp_path, capsys):
    """A health document laid in the folder is compared with its truth."""
    folder = tmp_path / "one"
    main(["rehearse", "stall", "--days", "2", "--seed", "6", "--no-year", "--out", str(folder)])
    truth = json.loads((folder / "truth.json").read_text())
    fault = truth["faults"][0]
    finding = {
        "subject": fault["subject"],
        "fault": "stall",
        "from": fault["detectable_from"],
        "to": None,
        "urgency": "now",
        "confidence": 0.9,
    }
    (folder / "health.json").write_text(json.dumps({"findings": [finding]}))
    capsys.readouterr()
    assert main(["score", str(folder), "--findings", "health.json", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["faults"]["stall"]["recall"] == 1.0


def test_simple_ways_stand_beside_ours(tmp_path, capsys):
    """All ways are counted over the same houses, and every mistake is told with its house."""
    fleet = str(tmp_path)
    given = ["rehearse", "stall", "--fleet", "2", "--days", "3", "--seed", "6"]
    assert main([*given, "--no-year", "--parquet", "--out", fleet]) == 0
    capsys.readouterr()
    assert main(["score", fleet, "--beside", "--json"]) == 0
    documents = json.loads(capsys.readouterr().out)
    assert set(documents) == {"ours", "threshold", "z-score", "cusum"}
    assert {one["plants"] for one in documents.values()} == {2}
    for one in documents.values():
        missed = [row for row in one["mistakes"] if row["what"] == "missed"]
        stall = one["faults"]["stall"]
        named = sum(row["fault"] == "stall" for row in missed)
        assert stall["present"] - named == round(stall["recall"] * stall["present"])
    assert main(["score", fleet, "--beside", "--mistakes"]) == 0
    told = capsys.readouterr().out
    assert "false now" in told
    assert all(row["part"] in told for row in documents["ours"]["mistakes"])


def test_firings_are_scored_by_their_source(tmp_path, capsys):
    """Each source of the houses chosen by their plugs is counted apart; none such is refused."""
    fleet = str(tmp_path)
    given = ["rehearse", "healthy", "--fleet", "2", "--days", "3", "--seed", "6"]
    assert main([*given, "--no-year", "--parquet", "--out", fleet]) == 0
    plugs = {load_plugs(folder) for folder in tmp_path.iterdir()}
    capsys.readouterr()
    assert main(["score", fleet, "--sources", "--plugs", min(plugs), "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert any(kind.startswith("temperature at 60 s and 0.5 K, ") for kind in document)
    assert all(row["told"] <= row["sources"] <= 2 for row in document.values())
    assert main(["score", fleet, "--sources"]) == 0
    assert "firings by" in capsys.readouterr().out
    absent = next(one for one in ("10", "30", "60", "change") if one not in plugs)
    assert main(["score", fleet, "--plugs", absent]) == 2


def load_plugs(folder):
    """How the pumps' plugs of a rehearsed house report."""
    text = (folder / "plant.toml").read_text()
    plug = text.partition('id = "heating.power"')[2].partition("[[")[0]
    found = re.search(r"interval_s = (\d+)", plug)
    return "change" if 'reports = "change"' in plug else found[1]


def test_cases_are_listed(capsys):
    """Each case is one line with its sentence."""
    assert main(["rehearse", "--list"]) == 0
    out = capsys.readouterr().out
    assert "ghost_flow" in out
    assert "sound_firewood_day" in out


def test_unknown_case_and_empty_folder_are_told(tmp_path, capsys):
    """Unusable input is exit status 2 and one line."""
    assert main(["rehearse", "nonsense", "--out", str(tmp_path / "x")]) == 2
    assert main(["score", str(tmp_path)]) == 2
    assert "truth.json" in capsys.readouterr().err


def test_pictures_are_drawn(tmp_path):
    """One case becomes one page that needs nothing from elsewhere."""
    page = tmp_path / "page.html"
    assert main(["rehearse", "stall", "--pictures", str(page)]) == 0
    assert "plotly-graph-div" in page.read_text()


def test_what_is_written_is_told_in_one_document(tmp_path, capsys, monkeypatch):
    """Fleet, samples and pictures answer --json as every command does."""
    monkeypatch.setattr("dashboard.commands.rehearse.SAMPLES", ["healthy_week"])
    monkeypatch.setattr("dashboard.commands.rehearse.sample", lambda _name: None)
    monkeypatch.setattr("dashboard.commands.rehearse.write_rehearsal", lambda *_a, **_k: 7)
    monkeypatch.setattr("dashboard.report.rehearsal_pictures.write_pictures", lambda *_a: None)
    asked = ["rehearse", "--json", "--samples", str(tmp_path)]
    assert main(asked) == 0
    assert json.loads(capsys.readouterr().out)["rows"] == {"healthy_week": 7}
    assert main(["rehearse", "--json", "--pictures", "p.html"]) == 0
    assert json.loads(capsys.readouterr().out) == {"pictures": "p.html"}
    fleet = ["rehearse", "stall", "--fleet", "1", "--days", "1", "--no-year", "--parquet"]
    assert main([*fleet, "--out", str(tmp_path / "fleet"), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["houses"] == 1
