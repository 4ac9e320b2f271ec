"""The journal's tables, and the one place where they are made or brought up to date."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager

import sqlalchemy as sa
from sqlalchemy.engine import Connection, Engine

from collector.errors import StoreUnavailableError

META = sa.MetaData()

ALARM = sa.Table(
    "alarm",
    META,
    sa.Column("plant", sa.String, primary_key=True),
    sa.Column("subject", sa.String, primary_key=True),
    sa.Column("fault", sa.String, primary_key=True),
    sa.Column("urgency", sa.String, nullable=False),
    sa.Column("state", sa.String, nullable=False),
    sa.Column("since_ms", sa.BigInteger, nullable=False),
    sa.Column("is_present", sa.Boolean, nullable=False),
    sa.Column("changing_since_ms", sa.BigInteger),
    sa.Column("raised_ms", sa.BigInteger),
    sa.Column("shelved_until_ms", sa.BigInteger),
    sa.Column("finding", sa.Text),
)

EVENT = sa.Table(
    "event",
    META,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("time_ms", sa.BigInteger, nullable=False, index=True),
    sa.Column("plant", sa.String, nullable=False),
    sa.Column("subject", sa.String, nullable=False),
    sa.Column("what", sa.String, nullable=False),
    sa.Column("words", sa.Text, nullable=False),
)

LOGBOOK = sa.Table(
    "logbook",
    META,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("plant", sa.String, nullable=False, index=True),
    sa.Column("time_ms", sa.BigInteger, nullable=False),
    sa.Column("subject", sa.String, nullable=False),
    sa.Column("kind", sa.String, nullable=False),
    sa.Column("words", sa.Text, nullable=False),
    sa.Column("who", sa.String, nullable=False, default=""),
)

RESULT = sa.Table(
    "result",
    META,
    sa.Column("plant", sa.String, primary_key=True),
    sa.Column("name", sa.String, primary_key=True),
    sa.Column("made_ms", sa.BigInteger, nullable=False),
    sa.Column("document", sa.LargeBinary, nullable=False),
)

NOTICE = sa.Table(
    "notice",
    META,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("time_ms", sa.BigInteger, nullable=False, index=True),
    sa.Column("plant", sa.String, nullable=False),
    sa.Column("subject", sa.String, nullable=False),
    sa.Column("fault", sa.String, nullable=False),
    sa.Column("reason", sa.String, nullable=False),
)

SCREENED = sa.Table(
    "screened",
    META,
    sa.Column("address", sa.String, primary_key=True),
    sa.Column("rule", sa.String, primary_key=True),
    sa.Column("day", sa.Integer, primary_key=True),
    sa.Column("count", sa.BigInteger, nullable=False),
)

SWAP = sa.Table(
    "swap",
    META,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("plant", sa.String, nullable=False, index=True),
    sa.Column("pump", sa.String, nullable=False),
    sa.Column("started_ms", sa.BigInteger, nullable=False),
    sa.Column("time_ms", sa.BigInteger),
    sa.Column("who", sa.String, nullable=False),
    sa.Column("mode", sa.String, nullable=False),
    sa.Column("night_reduction", sa.Boolean),
    sa.Column("claim_kwh_per_year", sa.Float),
)

SWAP_PUMP = sa.Table(
    "swap_pump",
    META,
    sa.Column("swap", sa.Integer, primary_key=True),
    sa.Column("which", sa.String, primary_key=True),
    sa.Column("drive", sa.String),
    sa.Column("port_to_port_mm", sa.Integer),
    sa.Column("thread", sa.String),
    sa.Column("head_m", sa.Float),
    sa.Column("least_w", sa.Float),
    sa.Column("most_w", sa.Float),
    sa.Column("energy_index", sa.Float),
    sa.Column("always_on", sa.Boolean),
    sa.Column("plug", sa.String),
)

SWAP_STEP = sa.Table(
    "swap_step",
    META,
    sa.Column("swap", sa.Integer, primary_key=True),
    sa.Column("step", sa.String, primary_key=True),
    sa.Column("time_ms", sa.BigInteger, nullable=False),
    sa.Column("who", sa.String, nullable=False),
    sa.Column("words", sa.Text, nullable=False),
)

SWAP_POWER = sa.Table(
    "swap_power",
    META,
    sa.Column("swap", sa.Integer, primary_key=True),
    sa.Column("which", sa.String, primary_key=True),
    sa.Column("setting", sa.String, primary_key=True),
    sa.Column("power_w", sa.Float, nullable=False),
    sa.Column("low_w", sa.Float, nullable=False),
    sa.Column("high_w", sa.Float, nullable=False),
)

SWAP_PHOTO = sa.Table(
    "swap_photo",
    META,
    sa.Column("swap", sa.Integer, primary_key=True),
    sa.Column("name", sa.String, primary_key=True),
    sa.Column("sha256", sa.String, nullable=False),
    sa.Column("words", sa.Text, nullable=False),
)

TRIAL = sa.Table(
    "trial",
    META,
    sa.Column("plant", sa.String, primary_key=True),
    sa.Column("pump", sa.String, primary_key=True),
    sa.Column("document", sa.LargeBinary, nullable=False),
)

VERSION_MARK = sa.Table(
    "journal_version", META, sa.Column("version", sa.Integer, primary_key=True)
)  # fmt: skip


def bring_up_to_date(engine: Engine) -> None:
    """Make the tables of a new journal, or migrate those of an older version.

    Whoever opens a journal at the same moment waits until it is done.

    Raises
    ------
    StoreUnavailableError
        A newer version of the program made the journal.
    """
    if _version(engine) == VERSION:
        return
    with _alone(engine) as connection:
        found = _version(connection)
        if found > VERSION:
            raise StoreUnavailableError(
                f"{engine.url.render_as_string()}: a newer Stokehold made this journal "
                f"(version {found}, this one knows {VERSION}); install the newer program, or "
                "restore the backup made before it"
            )
        for step in _STEPS[found:]:
            step(connection)
        connection.execute(VERSION_MARK.delete())
        connection.execute(VERSION_MARK.insert().values(version=VERSION))


def _version(bind: Engine | Connection) -> int:
    """Version of a journal; 0 where it has none: it is new, or older than the mark."""
    if not sa.inspect(bind).has_table(VERSION_MARK.name):
        return 0
    query = sa.select(sa.func.max(VERSION_MARK.c.version))
    if isinstance(bind, Connection):
        return int(bind.execute(query).scalar() or 0)
    with bind.connect() as connection:
        return int(connection.execute(query).scalar() or 0)


@contextmanager
def _alone(engine: Engine) -> Iterator[Connection]:
    """A transaction that no other opener of the journal shares."""
    with engine.connect() as connection:
        if engine.dialect.name == "sqlite":
            # The driver by itself begins a transaction only before it changes a row.
            connection.exec_driver_sql("BEGIN IMMEDIATE")
        elif engine.dialect.name == "postgresql":
            connection.execute(sa.select(sa.func.pg_advisory_xact_lock(_LOCK)))
        yield connection
        connection.commit()


_LOCK = 0x570C
"""Number under which openers of one PostgreSQL journal wait for each other; any number serves."""


def _to_1(connection: Connection) -> None:
    """A journal without mark: its tables came one by one, and a pump's card once had no plug."""
    META.create_all(connection)
    _add(connection, SWAP_PUMP.c.plug)


def _add(connection: Connection, column: sa.Column[str]) -> None:
    """Give a table a column that it lacks."""
    there = {one["name"] for one in sa.inspect(connection).get_columns(column.table.name)}
    if column.name not in there:
        kind = column.type.compile(connection.dialect)
        connection.execute(
            sa.text(f"ALTER TABLE {column.table.name} ADD COLUMN {column.name} {kind}")
        )


_STEPS: tuple[Callable[[Connection], None], ...] = (_to_1,)
"""What leads from each version to the next; a step finds made already what is made by the first."""
VERSION = len(_STEPS)
"""Version of the tables above."""
