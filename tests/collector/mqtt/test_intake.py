"""Tests of the way from messages to readings, without a broker."""

from typing import Any

import pytest

from collecting import FLOW, PLANT, POWER
from collector.mqtt.intake import Batch, Held, Intake
from collector.mqtt.live import Live
from collector.mqtt.routes import routes_for
from collector.payloads.screening import screens_for
from collector.store.protocol import addresses, clock_ms


@pytest.fixture
def live() -> Live:
    return Live()


@pytest.fixture
def intake(live: Live) -> Intake:
    screens = screens_for(addresses([PLANT]), live.counts)
    return Intake(routes_for([PLANT]), live, screens, [])


def message(watts: float, mid: int, **fields: Any) -> Held:
    plain = {"is_dup": False, "is_retained": False, "arrival_ms": clock_ms(), "session": 1}
    payload = f'{{"power": {watts}}}'.encode()
    return Held("cellar/plug-2/state", payload, mid, 1, **{**plain, **fields})


def values(batch: Batch) -> list[float]:
    return [value for name, _, value in batch.rows if name == POWER]


def test_a_delivery_repeated_after_its_batch_was_kept_is_known(intake: Intake, live: Live) -> None:
    """A broker that missed our answer sends again; the batch before it is remembered."""
    first = intake.screened([message(60.0, 1)])
    intake.kept(first)
    again = intake.screened([message(60.0, 1, is_dup=True), message(61.0, 2)])
    assert values(first) == [60.0]
    assert values(again) == [61.0]
    assert live.counts["", "redelivered"] == 1


def test_a_batch_the_store_did_not_keep_counts_as_never_seen(intake: Intake) -> None:
    """What was screened but is not safe must be taken when it comes again."""
    intake.screened([message(60.0, 1)])
    assert values(intake.screened([message(62.0, 3, is_dup=True)])) == [62.0]


def test_a_new_session_counts_messages_anew(intake: Intake) -> None:
    """After a session is lost the same number is another message, even marked as repeated."""
    intake.kept(intake.screened([message(60.0, 1)]))
    intake.forget()
    late = message(60.0, 1, is_dup=True, arrival_ms=clock_ms() + 20_000)
    assert values(intake.screened([late])) == [60.0]


def test_what_cannot_be_used_is_counted_and_costs_no_other(intake: Intake, live: Live) -> None:
    """An unknown topic and a broken payload are told by rule; the rest of the batch is kept."""
    strange = message(1.0, 4)._replace(topic="cellar/nowhere")
    broken = message(1.0, 5)._replace(payload=b"{")
    pipe = message(1.0, 6)._replace(topic="cellar/pipe-1", payload=b"54.5")
    batch = intake.screened([strange, broken, pipe, message(60.0, 7)])
    assert [(name, value) for name, _, value in batch.rows] == [(FLOW, 54.5), (POWER, 60.0)]
    assert [(one.address, one.rule) for one in live.refused] == [
        ("", "unknown_topic"),
        (POWER, "undecodable"),
    ]
    assert len(batch.marks) == len(batch.held) == 4
