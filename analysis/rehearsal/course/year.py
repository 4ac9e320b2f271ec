"""Yearly truths: the same house through 365 days."""

import numpy as np

from analysis.rehearsal.course.electric import boiler_load, moments, pump_load
from analysis.rehearsal.course.play import Trajectory, play
from analysis.rehearsal.course.scene import Scene
from analysis.rehearsal.course.truth import TrueYear
from analysis.rehearsal.physics.records import LEDGER

YEAR_DAYS = 365
ROW_S = 60.0


def pump_kwh(scene: Scene, trajectory: Trajectory) -> dict[str, float]:
    """Energy each pump takes from the record's first minute to the scene's end [kWh]."""
    seconds = np.arange(scene.record_min, scene.minutes, dtype=np.float64) * 60.0 + 30.0
    at = moments(seconds, trajectory, scene)
    quiet = np.zeros(len(seconds))
    return {
        one.id: float(pump_load(scene, trajectory, i, at, quiet).power_w.sum() / 60.0 / 1000.0)
        for i, one in enumerate(scene.spec.loops)
    }


def play_year(scene: Scene) -> tuple[dict[str, float], TrueYear]:
    """March through a scene of a year; give the energy of each pump and the plant's figures.

    Rows are kept a minute apart; that is coarse for a single firing but not
    for a year's sums.
    """
    trajectory = play(scene, step_s=ROW_S)
    first = scene.record_min // 1440
    ledger = trajectory.ledger[-1] - trajectory.ledger[first]
    seconds = np.arange(scene.record_min, scene.minutes, dtype=np.float64) * 60.0 + 30.0
    at = moments(seconds, trajectory, scene)
    electric = boiler_load(scene, trajectory, at)
    year = TrueYear(
        starts=int(ledger[LEDGER.index("starts")]),
        fuel_kwh=float(ledger[LEDGER.index("fuel")] / 3.6e6),
        boiler_kwh=float(electric.power_w.sum() / 60.0 / 1000.0),
        burner_hours=float(electric.on.sum() / 60.0),
        run_hours={
            one.id: float((trajectory.branch(i, "on")[at.row] > 0).sum() / 60.0)
            for i, one in enumerate(scene.spec.loops)
        },
    )
    return pump_kwh(scene, trajectory), year
