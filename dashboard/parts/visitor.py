"""Who looks at the pages, as the gate lets them in."""

from flask import request


def visitor() -> str:
    """Name the person gave at the gate, else nothing."""
    given = request.authorization
    return (given.username or "") if given is not None else ""
