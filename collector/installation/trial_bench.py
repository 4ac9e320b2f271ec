"""Where a guided trial is worked on, by a command or a page: one way of every move."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from analysis.base.errors import StokeholdError
from analysis.base.time import MINUTE_MS, Span
from analysis.exchange.trial import Trial, View, begin, end, look, plan, skip, valve_objection
from analysis.exchange.trial_results import TrialResult, trial_result
from analysis.plant.plant import Plant, Pump
from collector.journal.exchanges import SwapBook
from collector.journal.trials import TrialBook
from collector.store.protocol import Readable, StoreRecord

_BEFORE_MS = 15 * MINUTE_MS


class TrialError(StokeholdError):
    """A move of a trial is not possible now."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialPlan:
    """What a fresh trial shall hold, see `analysis.exchange.trial.plan`."""

    settings: Sequence[str] = ()
    valve: bool = False
    offset: bool = True
    usual: str | None = None


@dataclass(slots=True)
class Bench:
    """Plant, pump, what is kept, and the trial as it stands.

    Every move keeps where the trial stands, so that it survives anything.
    """

    plant: Plant
    pump: Pump
    store: Readable
    trials: TrialBook
    swaps: SwapBook
    trial: Trial

    def keep(self, trial: Trial) -> None:
        """Go on from here."""
        self.trial = trial
        self.trials.save(trial)

    def record(self, now_ms: int) -> StoreRecord:
        """Readings since shortly before the trial began."""
        span = Span(self.trial.started_ms - _BEFORE_MS, now_ms + 1)
        return StoreRecord(self.store, self.plant, span)

    def view(self, now_ms: int) -> View:
        """What is seen of the running step."""
        return look(self.trial, self.plant, self.record(now_ms), now_ms)

    def objection(self, now_ms: int) -> str | None:
        """Why the next step must not be begun now, or None."""
        step = self.trial.next
        if step is None or step.kind != "valve":
            return None
        return valve_objection(self.plant, self.record(now_ms), now_ms)

    def begin(self, now_ms: int) -> None:
        """The next step is set, or the running one begins anew.

        Raises
        ------
        TrialError
            It must not be begun now.
        """
        if objection := self.objection(now_ms):
            raise TrialError(f"trial begin: {objection}; do it later, or skip the step")
        self.keep(begin(self.trial, now_ms))

    def end(self, now_ms: int, display_w: float | None = None) -> None:
        """The running step is over.

        Raises
        ------
        TrialError
            None is running, or readings are still wanted.
        """
        if self.trial.running is None:
            raise TrialError("trial end: no step is running; begin one first")
        view = self.view(now_ms)
        if not view.is_enough:
            raise TrialError(f"trial end: {view.left_s / 60:.0f} min still wanted; {view.words}")
        self.keep(end(self.trial, now_ms, display_w=display_w))

    def skip(self, now_ms: int) -> None:
        """The next step is left out."""
        self.keep(skip(self.trial, now_ms))

    def drop(self) -> None:
        """Forget the trial."""
        self.trials.drop(self.plant.key, self.pump.id)

    def result(self, now_ms: int) -> TrialResult:
        """What the steps done so far gave."""
        return trial_result(self.trial, self.plant, self.record(now_ms))

    def finish(self, now_ms: int, *, usual: str | None = None, who: str = "") -> TrialResult:
        """Keep what the trial gave: as baseline, in the logbook, in a swap's record."""
        if usual:
            self.trial = replace(self.trial, usual=usual)
        result = self.result(now_ms)
        self.trials.finish(self.trial, result, self.swaps, who=who)
        return result


def fresh_trial(plant: Plant, pump: Pump, wanted: TrialPlan, now_ms: int) -> Trial:
    """A trial that has not begun."""
    steps = plan(pump.drive, wanted.settings, valve=wanted.valve, offset=wanted.offset)
    return Trial(plant=plant.key, pump=pump.id, started_ms=now_ms, steps=steps, usual=wanted.usual)
