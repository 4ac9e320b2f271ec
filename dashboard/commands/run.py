"""The program at work."""

import argparse
from contextlib import ExitStack

from collector.files.plant_file import load_sound_plants
from collector.process import Service
from dashboard.command_line.command import (
    DONE,
    broker_arguments,
    plant_argument,
    settings_of,
    warn,
)
from dashboard.web.serving import serve_pages, time_argument, wait


def arguments(parser: argparse.ArgumentParser) -> None:
    """Plant, settings, broker, and how long."""
    plant_argument(parser)
    broker_arguments(parser)
    time_argument(parser)
    parser.add_argument("--no-pages", action="store_true", help="collect only; serve no pages")


def run(arguments: argparse.Namespace) -> int:
    """Collect, watch, raise alarms and serve the pages until told to stop."""
    plants, left_out = load_sound_plants(arguments.plant)
    for problem in left_out:
        warn(f"{problem} (this plant is left out until its file is mended)")
    service = Service(plants, settings_of(arguments), left_out=left_out)
    with service, ExitStack() as stack:
        if not arguments.no_pages:
            serve_pages(service, stack)
        wait(arguments.minutes)
    return DONE
