"""Everything kept written into one archive."""

import argparse
from pathlib import Path

from collector.files.plant_file import load_plants
from collector.installation.backup import back_up, left_out
from dashboard.command_line.command import (
    DONE,
    answer,
    json_argument,
    plant_argument,
    say,
    settings_of,
)
from dashboard.parts.words import count


def arguments(parser: argparse.ArgumentParser) -> None:
    """Where to."""
    parser.add_argument("out", type=Path, metavar="FILE", help="archive to write, like cellar.tar")
    plant_argument(parser)
    json_argument(parser)


def run(arguments: argparse.Namespace) -> int:
    """Write readings, journal, photos and plant files into one archive."""
    load_plants(arguments.plant)
    settings = settings_of(arguments)
    sizes = back_up(settings, arguments.plant, arguments.out)
    if arguments.json:
        answer({"file": str(arguments.out), "bytes": sizes, "left_out": left_out(settings)})
        return DONE
    say(f"{arguments.out}: {count(len(sizes), 'file')}, {sum(sizes.values()) / 1e6:.1f} MB")
    for what in left_out(settings):
        verb = "are on the server" if what == "readings" else "is in a database"
        say(f"the {what} {verb}; see to a backup there by its own means")
    return DONE
