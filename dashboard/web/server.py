"""Serves the pages from a thread of this process."""

import logging
import threading
from typing import Self

from waitress.server import create_server

from collector.errors import StoreUnavailableError
from collector.installation.site import Site
from dashboard.web.app import create_app

_log = logging.getLogger(__name__)

_LARGEST_REQUEST = 4 << 20
"""Bytes of a request; it is taken in whole, before any password is asked for."""


class Pages:
    """The running web server: ``with Pages(site): ...``.

    Parameters
    ----------
    site : Site
        What is shown; its settings say where to listen.

    Raises
    ------
    StoreUnavailableError
        The address cannot be used.
    """

    def __init__(self, site: Site) -> None:
        web = site.settings.web
        try:
            self._server = create_server(
                create_app(site).server,
                host=web.host,
                port=web.port,
                threads=8,
                max_request_body_size=_LARGEST_REQUEST,
            )
        except OSError as error:
            raise StoreUnavailableError(
                f"{web.host}:{web.port}: the pages cannot be served there ({error.strerror}); "
                "set [web] port to a free one"
            ) from error
        self._is_closing = False
        self._thread = threading.Thread(target=self._run, name="pages", daemon=True)

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def _run(self) -> None:
        try:
            self._server.run()
        except OSError:
            # Its loop may still wait on the socket that closing took away.
            if not self._is_closing:
                _log.exception("pages=failed")

    def __exit__(self, *error: object) -> None:
        self._is_closing = True
        self._server.close()
        self._thread.join(5)
