"""The gate before the pages: a password where one is set, else a name that only a house knows."""

import hmac
import ipaddress
import logging
from collections.abc import Collection
from urllib.parse import urlsplit

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


_HOUSE_ENDINGS = (".local", ".localhost", ".home.arpa", ".internal")
"""Ends of names that the public name service never answers: RFC 6762, 6761, 8375, ICANN 2024."""


def ask_for_own_name(server: Flask, names: Collection[str]) -> None:
    """Serve only who came by an address or by a name of this house.

    Without a password any web page open in a browser of the house could read and act here,
    by letting its own name point to this box (DNS rebinding): the browser then names that
    page's host.

    Parameters
    ----------
    server : Flask
        The web application.
    names : collection of str
        Further names the pages are known by, in small letters.
    """

    @server.before_request
    def _look() -> Response | None:
        host = _host_name(request.host)
        if _is_of_house(host) or host in names:
            return None
        _log.warning("pages=asked for as %.80r, refused", host)
        return Response(
            f"The pages are not known by the name {host:.80}. Open them by the address of this "
            'box, or add the name to its settings: [web] names = ["..."]; or set a password.',
            421,
            mimetype="text/plain",
        )


def _host_name(host: str) -> str:
    try:
        return (urlsplit(f"//{host}").hostname or "").rstrip(".")
    except ValueError:
        return ""


def _is_of_house(host: str) -> bool:
    """Whether a name is an address, one word, or of a kind that exists in houses only."""
    try:
        ipaddress.ip_address(host)
    except ValueError:
        return bool(host) and ("." not in host or host.endswith(_HOUSE_ENDINGS))
    return True


def _wait() -> Response:
    seconds = WRONG_TRIES.get_expiry()
    return Response(
        f"Too many wrong passwords came from your address. Wait {seconds // 60} minutes, then try "
        "again; the password is the one set where the collector runs.",
        429,
        {"Retry-After": str(seconds)},
    )
