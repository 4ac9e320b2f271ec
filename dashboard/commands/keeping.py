"""Keeping what there is: backup and restore."""

import argparse
from pathlib import Path

from collector.backup import back_up, restore
from collector.plantfile import load_plants
from dashboard.command import (
    DONE,
    Command,
    answer,
    json_argument,
    plant_argument,
    say,
    settings_of,
)


def backup_arguments(parser: argparse.ArgumentParser) -> None:
    """Where to."""
    parser.add_argument("out", type=Path, metavar="FILE", help="archive to write, like b.tar")
    plant_argument(parser)
    json_argument(parser)


def run_backup(arguments: argparse.Namespace) -> int:
    """Write readings, journal, photos and plant files into one archive."""
    load_plants(arguments.plant)
    settings = settings_of(arguments)
    sizes = back_up(settings, arguments.plant, arguments.out)
    if arguments.json:
        answer({"file": str(arguments.out), "bytes": sizes})
        return DONE
    say(f"{arguments.out}: {len(sizes)} files, {sum(sizes.values()) / 1e6:.1f} MB")
    if settings.store.kind == "server":
        say("the readings are on the server; back them up there by its own means")
    return DONE


def restore_arguments(parser: argparse.ArgumentParser) -> None:
    """Where from, and where the plant files go."""
    parser.add_argument("source", type=Path, metavar="FILE", help="archive made by backup")
    parser.add_argument("--settings", type=Path, metavar="FILE", help="settings of this box")
    parser.add_argument(
        "--plants", type=Path, default=Path(), metavar="FOLDER", help="folder for plant files (.)"
    )
    json_argument(parser)


def run_restore(arguments: argparse.Namespace) -> int:
    """Bring a backup back; nothing that exists is overwritten."""
    names = restore(settings_of(arguments), arguments.plants, arguments.source)
    if arguments.json:
        answer({"restored": names})
    else:
        say(f"restored: {', '.join(names)}")
    return DONE


COMMANDS = (
    Command("backup", "write everything kept into one archive", backup_arguments, run_backup),
    Command("restore", "bring a backup back", restore_arguments, run_restore),
)
