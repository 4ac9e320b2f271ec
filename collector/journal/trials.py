"""Guided trials in the journal's database: where each one stands, and what the last one gave."""

from typing import Any

import orjson
import sqlalchemy as sa

from analysis.exchange.trial import Trial, trial_from
from analysis.exchange.trial_results import TrialResult, first_baseline
from analysis.plant.exchanges import SettingPower
from collector.journal.exchanges import SwapBook
from collector.journal.journal import Entry, Journal
from collector.journal.schema import TRIAL


class TrialBook:
    """The trials under way, one a pump, and the results of those that are over."""

    def __init__(self, journal: Journal) -> None:
        self._journal = journal

    def load(self, plant: str, pump: str) -> Trial | None:
        """The trial of a pump that is under way, or None."""
        query = sa.select(TRIAL.c.document).filter_by(plant=plant, pump=pump)
        with self._journal.engine.connect() as connection:
            found = connection.execute(query).scalar()
        return trial_from(orjson.loads(found)) if found else None

    def save(self, trial: Trial) -> None:
        """Keep where a trial stands, so that it can be resumed after anything."""
        key = {"plant": trial.plant, "pump": trial.pump}
        with self._journal.engine.begin() as connection:
            connection.execute(TRIAL.delete().filter_by(**key))
            row = key | {"document": orjson.dumps(trial.document())}
            connection.execute(TRIAL.insert().values(row))

    def drop(self, plant: str, pump: str) -> None:
        """Forget a trial under way."""
        with self._journal.engine.begin() as connection:
            connection.execute(TRIAL.delete().filter_by(plant=plant, pump=pump))

    def result(self, plant: str, pump: str) -> tuple[int, Any] | None:
        """When the last finished trial of a pump ended, and its document."""
        return self._journal.result(plant, f"trial.{pump}")

    def finish(self, trial: Trial, result: TrialResult, book: SwapBook, *, who: str = "") -> None:
        """Keep a trial's result: as baseline, in the logbook, and in a swap's record.

        The watts go to the newest record of the pump: to the old pump until
        the new one is in, then to the new one.
        """
        plant, pump = trial.plant, trial.pump
        self._journal.save_result(plant, f"trial.{pump}", result.time_ms, result.document())
        known = self._journal.result(plant, "normal_w")
        baseline = first_baseline(result, known[1] if known else {})
        self._journal.save_result(plant, "normal_w", result.time_ms, baseline)
        settings = ", ".join(row.setting for row in result.table)
        words = f"guided trial of {settings or 'nothing'}"
        self._journal.add_entry(Entry(0, plant, result.time_ms, pump, "setting", words, who))
        _enter_powers(result, book, plant)
        self.drop(plant, pump)


def _enter_powers(result: TrialResult, book: SwapBook, plant: str) -> None:
    records = [r for r in book.records(plant) if r.pump == result.pump]
    if not records:
        return
    newest = records[-1]
    is_new = newest.time_ms is not None and result.time_ms >= newest.time_ms
    for row in result.table:
        power = row.power
        if power.value is None or power.low is None or power.high is None:
            continue
        kept = SettingPower(
            "new" if is_new else "old", row.setting, power.value, power.low, power.high
        )
        book.add_power(newest, kept)
