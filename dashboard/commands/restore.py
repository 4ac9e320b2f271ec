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
    parser.add_argument("source", type=Path, metavar="FILE", help="archive that backup made")
    parser.add_argument(
        "--settings", type=Path, metavar="FILE", help="settings of this installation"
    )
    parser.add_argument(
        "--plants",
        type=Path,
        default=Path(),
        metavar="FOLDER",
        help="put plant files into this folder (.)",
    )
    json_argument(parser)


def run(arguments: argparse.Namespace) -> int:
    """Bring a backup back; nothing that exists is overwritten."""
    names = restore(settings_of(arguments), arguments.plants, arguments.source)
    if arguments.json:
        answer({"restored": names})
    else:
        say(f"These files were restored: {', '.join(names)}")
    return DONE
