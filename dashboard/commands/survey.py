"""A broker listened to, a plant file drafted."""

import argparse
from pathlib import Path
from typing import Any

from collector.errors import FormError
from collector.mqtt.survey import draft, guess, listen
from dashboard.command_line.argument_types import NOT_NEGATIVE
from dashboard.command_line.command import (
    DONE,
    TOLD,
    answer,
    broker_arguments,
    json_argument,
    say,
    settings_of,
)


def arguments(parser: argparse.ArgumentParser) -> None:
    """Broker, how long, where to write."""
    broker_arguments(parser)
    json_argument(parser)
    parser.add_argument(
        "--settings", type=Path, metavar="FILE", help="settings of this installation"
    )
    parser.add_argument("--seconds", type=NOT_NEGATIVE, default=30.0, help="listen so long (30)")
    parser.add_argument(
        "--topics", default="#", metavar="FILTER", help="listen to these topics only (#)"
    )
    parser.add_argument(
        "--timezone", default="UTC", help="time zone of the plant, like Europe/Dublin"
    )
    parser.add_argument(
        "--out", type=Path, metavar="FILE", help="write the draft of a plant file here"
    )


def run(arguments: argparse.Namespace) -> int:
    """Listen, list what could be channels, and draft a plant file."""
    if arguments.broker is None and arguments.settings is None:
        raise FormError(["--broker: is missing; name the broker to listen to"])
    if not arguments.json:
        say(f"Listening for {arguments.seconds:.0f} s ...")
    survey = listen(settings_of(arguments), arguments.seconds, arguments.topics)
    text = draft(survey, timezone=arguments.timezone)
    if arguments.out:
        _write_new(arguments.out, text)
    if arguments.json:
        answer(_survey_document(survey))
    else:
        _say_survey(survey, arguments.out, text)
    return DONE if survey.fields else TOLD


def _write_new(path: Path, text: str) -> None:
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError as error:
        raise FormError([f"{path}: is there already; name another file with --out"]) from error
    except OSError as error:
        raise FormError(
            [f"{path}: cannot be written ({error.strerror}); name another file with --out"]
        ) from error


def _survey_document(survey: Any) -> dict[str, Any]:
    rows = []
    for one in survey.found():
        guessed = guess(one)
        rows.append(
            {
                "topic": one.topic,
                "payload": one.payload,
                "messages": len(one.values),
                "low": min(one.values),
                "high": max(one.values),
                "interval_s": one.interval_s,
                "quantity": guessed.quantity if guessed else None,
                "unit": guessed.unit if guessed else None,
                "place": guessed.place if guessed else None,
            }
        )
    return {"messages": survey.messages, "fields": rows}


def _say_survey(survey: Any, out: Path | None, text: str) -> None:
    say(f"{survey.messages} messages, {len(survey.fields)} numeric fields")
    for one in survey.found():
        guessed = guess(one)
        word = f"{guessed.quantity} in {guessed.unit}" if guessed else "not known"
        say(f"  {one.topic} {one.payload or '(plain number)'}: {one.values[-1]:g}, {word}")
    if out:
        say(f"The draft is in {out}. Fill in name and drives, then: stokehold check --plant {out}")
    else:
        say()
        say(text)
