"""The password before the pages: asked of everybody where one is set."""

import hmac
import logging

from flask import Flask, Response, request
from limits import RateLimitItemPerMinute
from limits.storage import MemoryStorage
from limits.strategies import SlidingWindowCounterRateLimiter

WRONG_TRIES = RateLimitItemPerMinute(20, 5)
"""Wrong passwords one address may send in five minutes; then it is not listened to for a while."""
_log = logging.getLogger(__name__)


def close_gate(server: Flask, password: str) -> None:
    """Ask for a password (HTTP Basic, RFC 7617) before anything is served.

    Any user name will do; it is noted as who acknowledged or wrote something. An address
    that sent too many wrong ones is refused (429, RFC 6585), even with the right one, so
    that guessing takes years. Behind a proxy all visitors are one address.

    Parameters
    ----------
    server : Flask
        The web application.
    password : str
        What must be given.
    """
    tries = SlidingWindowCounterRateLimiter(MemoryStorage())

    @server.before_request
    def _ask() -> Response | None:
        given = request.authorization
        offered = (given.password or "") if given is not None and given.type == "basic" else None
        address = request.remote_addr or ""
        if not tries.test(WRONG_TRIES, address):
            _log.warning("pages=too many wrong passwords from %s, refused", address)
            return _wait()
        if offered is not None and hmac.compare_digest(offered.encode(), password.encode()):
            return None
        if offered is not None:
            _log.warning("pages=wrong password from %s", address)
            tries.hit(WRONG_TRIES, address)
        return Response(
            "A password is needed to see this plant.",
            401,
            {"WWW-Authenticate": 'Basic realm="Stokehold", charset="UTF-8"'},
        )


def _wait() -> Response:
    seconds = WRONG_TRIES.get_expiry()
    return Response(
        f"Too many wrong passwords came from your address. Wait {seconds // 60} minutes, then try "
        "again; the password is the one set where the collector runs.",
        429,
        {"Retry-After": str(seconds)},
    )


def visitor() -> str:
    """Name the person gave at the gate, else nothing."""
    given = request.authorization
    return (given.username or "") if given is not None else ""
