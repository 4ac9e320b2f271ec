"""A backup brought back."""

import argparse
from pathlib import Path

from collector.installation.backup import restore
from dashboard.command_line.command import (
    DONE,
    answer,
    json_argument,
    say,
    settings_of,
)


def arguments(parser: argparse.ArgumentParser) -> None:
    """Where from, and where the plant files go."""
    parser.add_argument("source", type=Path, metavar="FILE", help="archive made by backup")
    parser.add_argument("--settings", type=Path, metavar="FILE", help="settings of this box")
    parser.add_argument(
        "--plants", type=Path, default=Path(), metavar="FOLDER", help="folder for plant files (.)"
    )
    json_argument(parser)


def run(arguments: argparse.Namespace) -> int:
    """Bring a backup back; nothing that exists is overwritten."""
    names = restore(settings_of(arguments), arguments.plants, arguments.source)
    if arguments.json:
        answer({"restored": names})
    else:
        say(f"restored: {', '.join(names)}")
    return DONE
