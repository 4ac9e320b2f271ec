"""Errors of the outside world; each message says what is wrong, where, and what to do."""

from analysis.base.errors import StokeholdError


class FormError(StokeholdError):
    """A file the person wrote cannot be used; `problems` holds one line a fault."""

    def __init__(self, problems: list[str]) -> None:
        super().__init__("; ".join(problems))
        self.problems = problems


class LogFileError(StokeholdError):
    """A log file as a whole cannot be read."""


class DecodeError(StokeholdError):
    """A message's payload is not what the plant file says it is."""


class StoreUnavailableError(StokeholdError):
    """The store cannot take or give readings just now; trying again may help."""


class BrokerError(StokeholdError):
    """The broker cannot be started or reached, or refuses us."""


class PlantsFailedError(StokeholdError):
    """A job failed for some plants, after its work for all others; `by_plant` says why, by key."""

    def __init__(self, by_plant: dict[str, Exception]) -> None:
        super().__init__("; ".join(f"{key}: {error}" for key, error in by_plant.items()))
        self.by_plant = by_plant
