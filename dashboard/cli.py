"""The roof: the table of all commands and the one entry point."""

import argparse
import logging
import os
import sys
from collections.abc import Sequence

from analysis.errors import StokeholdError
from collector.errors import FormError
from dashboard.command import UNUSABLE, Command, warn
from dashboard.commands import analyses, data, keeping, logbook, rehearsal, running, swap

COMMANDS: tuple[Command, ...] = (
    *running.COMMANDS,
    *data.COMMANDS,
    *analyses.COMMANDS,
    *keeping.COMMANDS,
    *rehearsal.COMMANDS,
    Command("logbook", "what was done and read at the plant", logbook.arguments, logbook.run),
    Command("swap", "a pump's exchange, as a guided record", swap.arguments, swap.run),
)


def parser() -> argparse.ArgumentParser:
    """The command line as the table says."""
    top = argparse.ArgumentParser(
        prog="stokehold", description="Looks after the pumps and the boiler of a heating plant."
    )
    top.add_argument("--verbose", action="store_true", help="tell more on standard error")
    choices = top.add_subparsers(dest="command", metavar="COMMAND", required=True)
    for command in COMMANDS:
        made = choices.add_parser(command.name, help=command.words, description=command.words)
        command.arguments(made)
        made.set_defaults(run=command.run)
    return top


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and give its exit status."""
    arguments = parser().parse_args(argv)
    logging.basicConfig(
        level=logging.INFO if arguments.verbose else logging.WARNING,
        format="%(asctime)s %(levelname)s %(message)s",
        stream=sys.stderr,
    )
    for chatty in ("apscheduler", "urllib3", "werkzeug", "waitress"):
        logging.getLogger(chatty).setLevel(logging.ERROR)
    try:
        status: int = arguments.run(arguments)
    except FormError as error:
        more = len(error.problems) - 1
        warn(f"stokehold: {error.problems[0]}{f' (and {more} more)' if more else ''}")
        return UNUSABLE
    except StokeholdError as error:
        warn(f"stokehold: {error}")
        return UNUSABLE
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return UNUSABLE
    except KeyboardInterrupt:
        return UNUSABLE
    return status


if __name__ == "__main__":
    sys.exit(main())
