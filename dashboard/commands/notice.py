"""A test notice to every address."""

import argparse
from contextlib import closing

from collector.errors import FormError
from collector.files.plant_file import load_plants
from collector.files.settings import (
    NOTIFY_ADDRESSES,
)
from collector.installation.site import Site
from collector.letters.delivery import Messenger
from collector.notify.notify import send_test
from collector.store.protocol import clock_ms
from dashboard.command_line.command import (
    DONE,
    TOLD,
    answer,
    json_argument,
    plant_argument,
    say,
    settings_of,
)


def arguments(parser: argparse.ArgumentParser) -> None:
    """Plant and settings."""
    plant_argument(parser)
    json_argument(parser)


def run(arguments: argparse.Namespace) -> int:
    """Send a test notice to every address of the settings."""
    settings = settings_of(arguments)
    if not Messenger(settings).has_addresses:
        raise FormError(
            [f"[notify]: there is no address; set addresses_file, mqtt_topic or {NOTIFY_ADDRESSES}"]
        )
    with closing(Site.open(load_plants(arguments.plant), settings)) as site:
        missed = send_test(site, clock_ms())
    if arguments.json:
        answer({"reached": not missed, "missed": missed})
    elif missed:
        say(f"The notice did not reach {', '.join(missed)}. Check that address and the network.")
    else:
        say("The notice was sent to every address.")
    return TOLD if missed else DONE
