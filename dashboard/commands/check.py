"""Plant files checked."""

import argparse

from analysis.plant.plant import Plant
from collector.errors import FormError
from collector.files.plant_file import load_plants
from collector.mqtt.routes import routes_for
from collector.mqtt.survey import listen
from collector.store.protocol import addresses
from dashboard.command_line.argument_types import NOT_NEGATIVE
from dashboard.command_line.command import (
    DONE,
    TOLD,
    UNUSABLE,
    answer,
    broker_arguments,
    json_argument,
    plant_argument,
    say,
    settings_of,
    warn,
)
from dashboard.parts.words import count


def arguments(parser: argparse.ArgumentParser) -> None:
    """Plant, and how long to listen for silent channels."""
    plant_argument(parser)
    json_argument(parser)
    broker_arguments(parser)
    parser.add_argument(
        "--live", action="store_true", help="also listen, and name the channels that are silent"
    )
    parser.add_argument(
        "--seconds", type=NOT_NEGATIVE, default=60.0, help="with --live: listen so long (60)"
    )


def run(arguments: argparse.Namespace) -> int:
    """Validate plant files, and with --live see which channels are silent."""
    try:
        plants = load_plants(arguments.plant)
    except FormError as error:
        return _tell_problems(error.problems, as_json=arguments.json)
    silent = _silent(plants, arguments) if arguments.live else []
    if arguments.json:
        answer({"ok": True, "problems": [], "plants": [p.name for p in plants], "silent": silent})
    else:
        for plant in plants:
            say(
                f"{plant.name}: {count(len(plant.pumps), 'pump')}, "
                f"{count(len(plant.boilers), 'boiler')}, "
                f"{count(len(plant.channels), 'channel')}; the file is sound"
            )
        for name in silent:
            say(f"  silent: {name}")
    return TOLD if silent else DONE


def _tell_problems(problems: list[str], *, as_json: bool) -> int:
    if as_json:
        answer({"ok": False, "problems": problems})
    else:
        for problem in problems:
            say(problem)
    warn(f"stokehold: {count(len(problems), 'mistake')} in the plant file; mend what is named")
    return UNUSABLE


def _silent(plants: list[Plant], arguments: argparse.Namespace) -> list[str]:
    """Channels that nothing was heard of, retained messages apart."""
    seen: set[str] = set()
    survey = listen(settings_of(arguments), arguments.seconds, "#")
    topics = {f.topic for f in survey.found()}
    for name, channel in addresses(plants).items():
        if channel.topic in topics:
            seen.add(name)
    wanted = [n for n, c in addresses(plants).items() if c.topic in routes_for(plants).groups]
    return [name for name in wanted if name not in seen]
