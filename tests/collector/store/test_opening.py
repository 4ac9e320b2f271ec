"""Opening the store the settings ask for, where its client is not installed."""

import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from collector.errors import FormError
from collector.files.settings import Settings, StoreSettings
from collector.store.opening import open_store, open_to_read


@pytest.mark.parametrize("opening", [open_store, open_to_read])
def test_missing_client_names_the_extra(
    opening: Callable[..., object], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A server as store without its client: one line says what to install."""
    monkeypatch.setitem(sys.modules, "influxdb_client", None)
    chosen = StoreSettings(kind="server", url="http://127.0.0.1:1", bucket="readings")
    with pytest.raises(FormError, match=r"pip install 'stokehold\[server\]'"):
        opening(Settings(store=chosen, folder=tmp_path), [])
