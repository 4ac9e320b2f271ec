"""The password before the pages: asked of everybody where one is set."""

import hmac
import logging

from flask import Flask, Response, request

_log = logging.getLogger(__name__)


def close_gate(server: Flask, password: str) -> None:
    """Ask for a password (HTTP Basic, RFC 7617) before anything is served.

    Any user name will do; it is noted as who acknowledged or wrote something.

    Parameters
    ----------
    server : Flask
        The web application.
    password : str
        What must be given.
    """

    @server.before_request
    def _ask() -> Response | None:
        given = request.authorization
        offered = (given.password or "") if given is not None and given.type == "basic" else None
        if offered is not None and hmac.compare_digest(offered.encode(), password.encode()):
            return None
        if offered is not None:
            _log.warning("pages=wrong password from %s", request.remote_addr)
        return Response(
            "A password is needed to see this plant.",
            401,
            {"WWW-Authenticate": 'Basic realm="Stokehold", charset="UTF-8"'},
        )


def visitor() -> str:
    """Name the person gave at the gate, else nothing."""
    given = request.authorization
    return (given.username or "") if given is not None else ""
