"""Writes collector/files/demo_season.xz: the demo's year, played once by the model.

Run after every change of the model or of the demo's staging, where the extra `rehearsal` is
installed: python deploy/season.py
"""

from analysis.rehearsal.course.play import play
from analysis.rehearsal.rehearse import set_scene
from analysis.rehearsal.samples import demo_staging
from collector.files.season import SEASON_FILE, SEASON_STEP_S, write_season

staging = demo_staging()
trajectory = play(set_scene(staging, staging.faults), step_s=SEASON_STEP_S)
print(f"{SEASON_FILE}: {write_season(SEASON_FILE, trajectory)} bytes")
