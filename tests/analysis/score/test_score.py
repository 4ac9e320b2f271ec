"""Scoring: matching rules on hand-made documents."""

import pytest

from analysis.base.time import HOUR_MS, MINUTE_MS, Span, parse_rfc3339
from analysis.score.score import score_cycles, score_energy, score_findings, score_saving
from analysis.score.tally import CycleTally, Tally

TRUTH = {
    "from": "2026-01-01T00:00:00Z",
    "to": "2026-01-31T00:00:00Z",
    "faults": [
        {
            "subject": "heating",
            "fault": "stall",
            "onset": "2026-01-10T00:00:00Z",
            "detectable_from": "2026-01-10T01:00:00Z",
            "end": "2026-01-11T00:00:00Z",
            "severity": 1.0,
        }
    ],
    "cycles": [
        {
            "start": "2026-01-01T10:00:20Z",
            "called": "2026-01-01T10:00:00Z",
            "end": "2026-01-01T10:05:00Z",
        },
        {
            "start": "2026-01-01T11:00:20Z",
            "called": "2026-01-01T11:00:00Z",
            "end": "2026-01-01T11:05:00Z",
        },
    ],
    "energy": {"heating": {"kwh_per_year": 100.0}},
    "saving_kwh_per_year": 50.0,
}


def _finding(fault, start, end=None, *, subject="heating", confidence=0.9, possible=()):
    return {
        "subject": subject,
        "fault": fault,
        "from": start,
        "to": end,
        "urgency": "now",
        "confidence": confidence,
        "possible": list(possible),
    }


def _scored(*findings):
    tally = Tally()
    score_findings(tally, TRUTH, {"findings": list(findings)})
    return tally


def test_right_finding_counts_once_with_its_delay():
    """Two findings of one fault are one detection, the delay that of the earlier."""
    row = _scored(
        _finding("stall", "2026-01-10T03:00:00Z", "2026-01-10T04:00:00Z"),
        _finding("stall", "2026-01-10T05:00:00Z"),
    ).document()["faults"]["stall"]
    assert row["recall"] == 1.0
    assert row["delay_h"]["median"] == 2.0
    assert row["cause_first"] == 1.0


def test_slow_fault_is_also_counted_from_where_it_is_separable():
    """Grown on the 20th and told on the 23rd by `raised`: three days, whatever `from` says."""
    truth = {
        **TRUTH,
        "faults": [
            {
                "subject": "heating",
                "fault": "sludge",
                "onset": "2026-01-05T00:00:00Z",
                "detectable_from": "2026-01-12T00:00:00Z",
                "separable_from": "2026-01-20T00:00:00Z",
                "end": None,
                "severity": 0.8,
            }
        ],
    }
    tally = Tally()
    told = {**_finding("sludge", "2026-01-10T00:00:00Z"), "raised": "2026-01-23T00:00:00Z"}
    score_findings(tally, truth, {"findings": [told]})
    row = tally.document()["faults"]["sludge"]
    assert row["separable"] == {
        "present": 1,
        "recall": 1.0,
        "delay_h": {"median": 72.0, "p90": 72.0},
    }


def test_wrong_name_is_noticed_but_not_found():
    """Another fault on the same part is no false alarm, but a wrong cause."""
    tally = _scored(_finding("dead_head", "2026-01-10T03:00:00Z", possible=["Stall of the rotor"]))
    row = tally.document()["faults"]["stall"]
    assert row["recall"] == 0.0
    assert row["noticed"] == 1.0
    assert row["cause_first"] == 0.0
    assert row["cause_in_first_two"] == 1.0
    assert not tally.false_alarms


def test_finding_elsewhere_in_time_is_a_false_alarm():
    """Before the onset it explains nothing, and counts per plant-year by urgency."""
    tally = _scored(_finding("stall", "2026-01-03T00:00:00Z", "2026-01-04T00:00:00Z"))
    per_year = tally.document()["false_alarms_per_plant_year"]["all"]["now"]
    assert per_year == pytest.approx(365.25 / 30, rel=1e-3)


def test_consequence_on_another_part_is_no_false_alarm():
    """A stalled pump lets the store grow cool; a bearing elsewhere is unconnected."""
    told = _finding("store_too_cool", "2026-01-10T12:00:00Z", subject="store")
    wrong = _finding("bearing_drag", "2026-01-10T12:00:00Z", subject="charging")
    assert not _scored(told).false_alarms
    assert list(_scored(wrong).false_alarms) == ["bearing_drag"]


def test_fault_that_never_shows_is_not_asked_for():
    """Where no emitted reading shows a fault, nobody is blamed for missing it."""
    hidden = {**TRUTH, "faults": [{**TRUTH["faults"][0], "detectable_from": None}]}
    tally = Tally()
    score_findings(tally, hidden, {"findings": []})
    assert tally.document()["faults"] == {}


def test_a_firing_told_across_a_gap_is_neither_right_nor_wrong():
    """The plug missed a minute of it: nobody asked for it, so telling it costs nothing."""
    cycle = {"start": "2026-01-01T10:00:00Z", "end": "2026-01-01T10:05:10Z", "complete": True}
    stray = {"start": "2026-01-01T12:00:00Z", "end": "2026-01-01T12:05:00Z", "complete": True}
    found = {"boilers": [{"method": "power", "cycles": [cycle, stray]}]}
    gap = parse_rfc3339("2026-01-01T10:02:00Z")
    known = [Span(gap - HOUR_MS, gap), Span(gap + MINUTE_MS, gap + 5 * HOUR_MS)]
    tally = CycleTally()
    score_cycles(tally, TRUTH, found, known)
    assert (tally.true, tally.found, tally.matched) == (1, 1, 0)


def test_cycles_match_by_overlap_and_either_start():
    """The motor's start is as good as the flame's; a cycle over nothing lowers precision."""
    found = {
        "boilers": [
            {
                "method": "power",
                "cycles": [
                    {
                        "start": "2026-01-01T10:00:00Z",
                        "end": "2026-01-01T10:05:10Z",
                        "complete": True,
                    },
                    {
                        "start": "2026-01-01T12:00:00Z",
                        "end": "2026-01-01T12:05:00Z",
                        "complete": True,
                    },
                ],
            }
        ]
    }
    tally = CycleTally()
    score_cycles(tally, TRUTH, found)
    row = tally.document()
    assert row["precision"] == 0.5
    assert row["recall"] == 0.5
    assert tally.edges_s == [0.0, 10.0]


def test_firings_in_silence_do_not_count():
    """A firing while nothing was heard cannot be found."""
    heard = [Span(parse_rfc3339("2026-01-01T09:00:00Z"), parse_rfc3339("2026-01-01T10:30:00Z"))]
    tally = CycleTally()
    score_cycles(tally, TRUTH, {"boilers": [{"method": "power", "cycles": []}]}, heard)
    assert tally.true == 1
    assert tally.document()["f1"] == 0.0


def test_firings_shorter_than_two_readings_are_counted_apart():
    """By readings 90 s apart a firing of 100 s is brief, and so is what is found just after it."""
    truth = {
        "cycles": [
            {"start": "2026-01-01T10:00:00Z", "end": "2026-01-01T10:05:00Z"},
            {"start": "2026-01-01T11:00:00Z", "end": "2026-01-01T11:01:40Z"},
        ]
    }
    told = [
        {"start": "2026-01-01T10:00:30Z", "end": "2026-01-01T10:05:00Z", "complete": True},
        {"start": "2026-01-01T11:02:00Z", "end": "2026-01-01T11:03:00Z", "complete": True},
    ]
    found = {"boilers": [{"method": "power", "cycles": told}]}
    tally = CycleTally()
    score_cycles(tally, truth, found, step_s=90.0)
    row = tally.document()
    assert (row["f1"], row["brief"], row["f1_of_longer"]) == (0.5, 0.5, 1.0)
    as_changed = CycleTally()
    score_cycles(as_changed, truth, found)
    assert as_changed.document()["brief"] == 0.0


def test_figures_count_error_and_coverage():
    """Relative error and whether the interval holds the truth, for energy and saving."""
    tally = Tally()
    estimate = {"value": 110.0, "low": 90.0, "high": 130.0}
    score_energy(tally, TRUTH, {"pumps": [{"pump": "heating", "per_year": estimate}]})
    score_saving(tally, TRUTH, {"saving_per_year": {"value": 80.0, "low": 70.0, "high": 90.0}})
    document = tally.document()
    assert document["energy"] | {"contains_between": None} == {
        "count": 1,
        "median_error": 0.1,
        "p90_error": 0.1,
        "interval_contains_truth": 1.0,
        "contains_between": None,
    }
    assert document["saving"]["interval_contains_truth"] == 0.0


def _false_over(what, finding):
    gap = {"what": what, "start": "2026-01-20T00:00:00Z", "end": "2026-01-20T12:00:00Z"}
    tally = Tally()
    score_findings(tally, {**TRUTH, "negatives": [gap]}, {"findings": [finding]})
    return sum(tally.document()["false_alarms_per_plant_year"]["all"].values())


def test_silence_told_over_a_radio_gap_is_true_and_anything_else_is_false():
    """The channels are silent; that a pump stands is not therefore true, nor silence elsewhen."""
    over = ("2026-01-20T01:00:00Z", "2026-01-20T10:00:00Z")
    assert _false_over("wifi_gap", _finding("channel_silent", *over, subject="plant")) == 0
    assert _false_over("wifi_gap", _finding("stall", *over)) > 0
    later = ("2026-01-25T01:00:00Z", "2026-01-25T10:00:00Z")
    assert _false_over("wifi_gap", _finding("channel_silent", *later, subject="plant")) > 0


@pytest.mark.parametrize(
    ("hour", "shown", "unit", "wrong"),
    [(1, 110.0, "Cel", 0), (15, 110.0, "Cel", 0), (19, 110.0, "Cel", 1), (1, 20.0, "K", 1)],
)
def test_scalding_water_of_a_wood_fire_is_true_and_a_hot_body_is_not(hour, shown, unit, wrong):
    """Measured water of 110 Cel is as hot as it says, three hours after the fire as well.

    A body above its water, or water so hot seven hours later, is another matter.
    """
    times = (f"2026-01-20T{hour:02d}:00:00Z", f"2026-01-20T{hour + 2:02d}:00:00Z")
    finding = _finding("overheating", *times)
    finding["evidence"] = [{"value": shown, "unit": unit}]
    assert (_false_over("firewood_day", finding) > 0) == bool(wrong)


def test_a_miss_that_was_said_is_counted_apart():
    """What cannot be judged for want of a sensor, and is said so, is missed but not in silence."""
    row = {"subject": "heating", "fault": "sludge", "needs": "a flow meter"}
    for fault, unjudged, rate in (("sludge", 1, None), ("stall", 0, 0.0)):
        truth = TRUTH | {"faults": [TRUTH["faults"][0] | {"fault": fault, "subject": "heating"}]}
        tally = Tally()
        score_findings(tally, truth, {"findings": [], "cannot_judge": [row]})
        found = tally.document()["faults"][fault]
        assert (found["recall"], found["unjudged"]) == (0.0, unjudged)
        assert found["recall_of_judged"] == rate
