"""The roof: the table of all commands and the one entry point."""

import argparse
import logging
import os
import sys
from collections.abc import Sequence
from typing import NoReturn

from analysis.base.errors import StokeholdError
from collector.errors import FormError
from dashboard.command_line.command import UNUSABLE, Command, warn

COMMANDS: tuple[Command, ...] = (
    Command("demo", "show an invented plant with history and live readings"),
    Command("run", "collect readings, watch the plant and serve the pages"),
    Command("notice", "send a test notice to every address"),
    Command("survey", "listen to a broker and draft a plant file"),
    Command("check", "check a plant file, and see which channels are silent"),
    Command("import", "read a log file into the store", "import_log"),
    Command("export", "write readings of the store to a log file"),
    Command("replay", "publish a log's readings as MQTT messages"),
    Command("cycles", "count the firings of every boiler"),
    Command("energy", "tell what pumps and boilers use and cost in a year"),
    Command("health", "tell what is or was wrong"),
    Command("boiler", "tell starts, condition, service and fuel of every boiler"),
    Command("mode", "tell how each pump is set, whether that suits it, and what to try"),
    Command("saving", "tell what an exchanged pump saves, against the claim"),
    Command("rating", "work out the energy efficiency index of a pump"),
    Command("choose", "tell which class of pump a circuit needs, and whether it pays"),
    Command("logbook", "write down what was done at the plant, or list it"),
    Command("swap", "keep the record of a pump's exchange, step by step"),
    Command("trial", "lead through a pump's settings and measure its watts at each"),
    Command("commissioning", "tell how a new pump was fitted, a day, a week and a month after"),
    Command("report", "write everything into one PDF or HTML file to hand over"),
    Command("backup", "write everything that is kept into one archive"),
    Command("restore", "bring a backup back"),
    Command("rehearse", "play a house of the model, whose truth is known, into a folder"),
    Command("score", "compare findings with the truth of rehearsed houses"),
)


class _OneLine(argparse.ArgumentParser):
    """Refuses arguments in one line, as every other input is."""

    def error(self, message: str) -> NoReturn:
        """End with the status of unusable input."""
        self.exit(UNUSABLE, f"stokehold: {message}; see '{self.prog} --help'\n")


def parser(chosen: str | None = None) -> argparse.ArgumentParser:
    """The command line as the table says, with the arguments of the command chosen."""
    top = _OneLine(
        prog="stokehold", description="Looks after the pumps and the boiler of a heating plant."
    )
    top.add_argument("--verbose", action="store_true", help="say more on standard error")
    choices = top.add_subparsers(dest="command", metavar="COMMAND", required=True)
    for command in COMMANDS:
        made = choices.add_parser(command.name, help=command.words, description=command.words)
        if command.name == chosen:
            module = command.load()
            module.arguments(made)
            made.set_defaults(run=module.run)
    return top


def _chosen(argv: Sequence[str]) -> str | None:
    """Name of the command on the line: the first word that is no option."""
    return next((word for word in argv if not word.startswith("-")), None)


STOPPED = 130
"""Status of a command ended from the keyboard, as shells have it (128 and the signal's number)."""


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and give its exit status."""
    try:
        return _run(sys.argv[1:] if argv is None else argv)
    except KeyboardInterrupt:
        warn("stokehold: stopped")
        return STOPPED


def _run(given: Sequence[str]) -> int:
    arguments = parser(_chosen(given)).parse_args(given)
    logging.basicConfig(
        level=logging.INFO if arguments.verbose else logging.WARNING,
        format="%(asctime)s %(levelname)s %(message)s",
        stream=sys.stderr,
    )
    for chatty in ("urllib3", "werkzeug", "waitress"):
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
    return status


if __name__ == "__main__":
    sys.exit(main())
