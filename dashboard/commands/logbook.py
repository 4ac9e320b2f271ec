"""``logbook``: what was done and read at the plant, listed or written down."""

import argparse
from contextlib import closing
from typing import Any

from analysis.base.time import format_rfc3339
from analysis.plant.logbook_kinds import KINDS
from analysis.plant.plant import Plant
from collector.errors import FormError
from collector.files.plant_file import load_plants
from collector.installation.site import open_journal
from collector.journal.journal import Entry, Journal
from collector.store.protocol import clock_ms
from dashboard.command_line.command import (
    DONE,
    answer,
    answer_each,
    existing_journal,
    json_argument,
    moment,
    plant_argument,
    say,
    settings_of,
)


def arguments(parser: argparse.ArgumentParser) -> None:
    """List by default; ``add WORDS`` with kind, subject, time and who."""
    parser.add_argument("do", nargs="?", choices=("list", "add"), default="list")
    parser.add_argument("words", nargs="*", metavar="WORDS", help="with add: what was done or read")
    plant_argument(parser)
    json_argument(parser)
    kinds = "; ".join(f"{kind}: {words}" for kind, words in KINDS.items())
    parser.add_argument("--kind", choices=tuple(KINDS), help=kinds)
    parser.add_argument(
        "--subject", metavar="ID", help="part that it concerns: a pump, boiler or store, or 'plant'"
    )
    parser.add_argument(
        "--time", metavar="TIME", help="when it was: RFC 3339 time with offset (now)"
    )
    parser.add_argument("--who", default="", help="who did it")


def run(arguments: argparse.Namespace) -> int:
    """List or write down."""
    plants = load_plants(arguments.plant)
    settings = settings_of(arguments)
    if arguments.do == "add":
        with closing(open_journal(settings)) as journal:
            return _add(plants, journal, arguments)
    with closing(existing_journal(settings)) as journal:
        return _list(plants, journal, arguments)


def one_plant(plants: list[Plant], what: str) -> Plant:
    """The only plant, for what is written down about one.

    Raises
    ------
    FormError
        There are several.
    """
    if len(plants) > 1:
        raise FormError([f"--plant: {what} belongs to one plant; name its file"])
    return plants[0]


def _add(plants: list[Plant], journal: Journal, arguments: argparse.Namespace) -> int:
    plant = one_plant(plants, "an entry")
    words = " ".join(arguments.words).strip()
    if not words:
        raise FormError(
            ["logbook add: words are missing; say what was done, like 'topped up to 1.4 bar'"]
        )
    entry = Entry(
        id=0,
        plant=plant.key,
        time_ms=moment("--time", arguments.time) if arguments.time else clock_ms(),
        subject=subject_of(plant, arguments.subject or "plant"),
        kind=arguments.kind or "remark",
        words=words,
        who=arguments.who,
    )
    entry = entry._replace(id=journal.add_entry(entry))
    if arguments.json:
        answer(entry_document(entry))
    else:
        say(f"written down as number {entry.id}: {_line(entry)}")
    return DONE


def subject_of(plant: Plant, name: str) -> str:
    """A part of the plant named on the command line.

    Raises
    ------
    FormError
        There is none of that name.
    """
    known = ("plant", *(p.id for p in (*plant.machines, *plant.stores)))
    if name not in known:
        raise FormError(
            [f"--subject: '{name}' is no part of {plant.name}; known: {', '.join(known)}"]
        )
    return name


def _list(plants: list[Plant], journal: Journal, arguments: argparse.Namespace) -> int:
    found = [(plant, _chosen(journal.logbook(plant.key), arguments)) for plant in plants]
    if arguments.json:
        answer_each(
            [{"plant": p.name, "entries": [entry_document(e) for e in es]} for p, es in found]
        )
        return DONE
    for plant, entries in found:
        say(f"{plant.name}, {len(entries)} {'entry' if len(entries) == 1 else 'entries'}")
        for entry in entries:
            say(f"  {_line(entry)}")
    return DONE


def _chosen(entries: list[Entry], arguments: argparse.Namespace) -> list[Entry]:
    """Entries of the kind, subject and person asked for."""
    wanted = {
        name: value for name in ("kind", "subject", "who") if (value := getattr(arguments, name))
    }
    return [e for e in entries if all(getattr(e, k) == v for k, v in wanted.items())]


def entry_document(entry: Entry) -> dict[str, Any]:
    """The JSON form of an entry."""
    return {
        "id": entry.id,
        "time": format_rfc3339(entry.time_ms),
        "subject": entry.subject,
        "kind": entry.kind,
        "words": entry.words,
        "who": entry.who,
    }


def _line(entry: Entry) -> str:
    by = f" ({entry.who})" if entry.who else ""
    time = format_rfc3339(entry.time_ms)
    return f"{time} {entry.subject}, {entry.kind}: {entry.words}{by}"
