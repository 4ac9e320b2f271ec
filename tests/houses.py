"""A small house with readings, journal and served pages, for the tests of pages."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np

from analysis.alarms.states import Alarm
from analysis.base.time import DAY_MS, HOUR_MS, MINUTE_MS
from analysis.plant.plant import Boiler, Channel, Plant, Pump, Store
from analysis.readings.readings import Readings
from collector.files.settings import Settings, WebSettings
from collector.installation.site import Site
from collector.journal.journal import StandingAlarm
from collector.store.protocol import address, clock_ms
from dashboard.web.server import Pages
from servers import free_port


def channel(name: str, quantity: str, unit: str, place: str | None = None) -> Channel:
    of = name.split(".", maxsplit=1)[0]
    return Channel(id=name, of=of, quantity=quantity, unit=unit, place=place, interval_s=60)


PLANT = Plant(
    name="Quay House", timezone="Europe/Dublin",
    boilers=(Boiler(id="boiler", fuel="gas", input_kw=24.0),),
    pumps=(
        Pump(id="heating", drive="electronic", rated_power_w=(4, 40)),
        Pump(id="charging", drive="induction", duty="store", rated_power_w=(35, 65)),
    ),
    stores=(Store(id="store", volume_l=200),),
    channels=(
        channel("heating.power", "power", "W"),
        channel("heating.flow", "temperature", "Cel", "flow"),
        channel("charging.power", "power", "W"), channel("boiler.power", "power", "W"),
        channel("boiler.flow", "temperature", "Cel", "flow"),
        channel("store.top", "temperature", "Cel", "top"),
        channel("plant.outdoor", "temperature", "Cel", "outdoor"),
    ),
)  # fmt: skip
USUAL = {
    "heating.power": 24.0, "charging.power": 48.0, "boiler.power": 5.0, "heating.flow": 44.0,
    "boiler.flow": 46.0, "store.top": 52.0, "plant.outdoor": 6.0,
}  # fmt: skip


def lay_in(site: Site, days: float = 2.0, plant: Plant = PLANT) -> int:
    """Readings a minute apart up to now, each channel about its usual value; gives now [ms]."""
    now = clock_ms()
    time_ms = np.arange(now - round(days * DAY_MS), now, MINUTE_MS)
    rng = np.random.default_rng(3)
    for one in plant.channels:
        value = USUAL[one.id] + rng.normal(0, 0.2, len(time_ms))
        site.store.load(address(plant, one), Readings.of(time_ms, value))
    site.live.resume(site.store.latest())
    site.journal.save_result(plant.key, "watch", now, {"cannot_judge": []})
    site.journal.save_result(plant.key, "normal_w", now, {"heating": 24.0, "charging": 48.0})
    return now


def standing(subject: str, fault: str, now: int) -> StandingAlarm:
    """An urgent alarm of this moment that nobody has acknowledged."""
    alarm = Alarm(
        plant=PLANT.key, subject=subject, fault=fault, urgency="now", state="unacknowledged",
        since_ms=now, raised_ms=now, is_present=True,
    )  # fmt: skip
    return StandingAlarm(alarm, None)


def left_unwatched(site: Site, now: int) -> None:
    """The watch has stood still for an hour."""
    site.journal.save_result(PLANT.key, "watch", now - HOUR_MS, {"cannot_judge": []})


@contextmanager
def served(
    folder: Path, plants: tuple[Plant, ...] = (PLANT,), *, left_out: tuple[str, ...] = ()
) -> Iterator[tuple[Site, str]]:
    """A site and the address of its pages."""
    settings = Settings(web=WebSettings(port=free_port()), folder=folder)
    site = Site.open(plants, settings, left_out=left_out)
    with Pages(site):
        yield site, f"http://127.0.0.1:{settings.web.port}"
    site.close()
