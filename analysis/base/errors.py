"""Errors that arithmetic can raise: the question was wrong, not the data thin."""


class StokeholdError(Exception):
    """Root of every error this project raises on purpose."""


class ReadingsError(StokeholdError):
    """A series of readings is not in the form the analyses need."""


class AnalysisError(StokeholdError):
    """A question was asked that these data cannot answer at all."""
