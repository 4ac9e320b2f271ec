"""The plant drawn from its plant file: boiler, mains, a row a circuit, with what is read now.

Warm pipes run down beside cool ones; each pump feeds its part from the one to the other. Colours
come from the stylesheet.
"""

from html import escape

from analysis.plant.plant import Boiler, Pump, Store
from analysis.pump.state_now import Reading
from dashboard.parts import words
from dashboard.parts.last_values import Presence, value_words

WIDTH = 380
_ROW, _BOILER = 118, 118
_COOL_X, _WARM_X = 128, 152
_PUMP_X, _PART_X = 206, 288


def plant_svg(now: Presence, pump_link: str = "") -> str:
    """Draw the plant.

    Parameters
    ----------
    now : Presence
        Plant and last readings.
    pump_link : str, optional
        Address of a pump's page, with ``{}`` for its id.
    """
    plant = now.plant
    rows = _rows(now)
    boilers = plant.boilers or ()
    top = _BOILER * max(1, len(boilers))
    height = top + _ROW * len(rows) + 8
    body = [_surroundings(now)]
    body += [_mains(boilers, top, rows)]
    body += [_boiler(now, b, _BOILER * i) for i, b in enumerate(boilers)]
    body += [_circuit(now, row, top + _ROW * i, pump_link=pump_link) for i, row in enumerate(rows)]
    return (
        f'<svg viewBox="0 0 {WIDTH} {height}" class="plant-drawing" '
        f'aria-hidden="true">{"".join(body)}</svg>'
    )


def _rows(now: Presence) -> list[tuple[Pump | None, Store | None]]:
    """Pump and store of each circuit; pumps that charge take the stores in turn."""
    stores = list(now.plant.stores)
    rows: list[tuple[Pump | None, Store | None]] = []
    for pump in now.plant.pumps:
        fed = stores.pop(0) if pump.duty == "store" and stores else None
        rows.append((pump, fed))
    return rows + [(None, store) for store in stores]


# pieces


def _text(x: float, y: float, text: str, kind: str = "", anchor: str = "start") -> str:
    return f'<text x="{x}" y="{y}" text-anchor="{anchor}" class="{kind}">{escape(text)}</text>'


def _pipe(kind: str, *points: tuple[float, float]) -> str:
    line = " ".join(f"{x},{y}" for x, y in points)
    return f'<polyline points="{line}" class="pipe {kind}"/>'


def _value(x: float, y: float, reading: Reading | None, anchor: str = "start") -> str:
    """A reading beside its pipe; nothing where there is no such channel."""
    if reading is None:
        return ""
    kind = "value" if reading.is_fresh else "value old"
    said = escape(f"{reading.channel.id}, {words.age(reading.age_ms)} old")
    return (
        f'<text x="{x}" y="{y}" text-anchor="{anchor}" class="{kind}" '
        f'data-channel="{escape(reading.channel.id)}"><title>{said}</title>'
        f"{escape(value_words(reading))}</text>"
    )


def _surroundings(now: Presence) -> str:
    """Outdoors, room and pressure, in the corner that is free."""
    wanted = (
        ("Outdoors", now.reading("plant", "temperature", "outdoor")),
        ("Room", now.reading("plant", "temperature", "room")),
        ("Pressure", now.reading("plant", "pressure")),
    )
    there = [(label, reading) for label, reading in wanted if reading]
    return "".join(
        _text(WIDTH - 72, 24 + 20 * i, label, "label", "end")
        + _value(WIDTH - 4, 24 + 20 * i, reading, "end")
        for i, (label, reading) in enumerate(there)
    )


def _mains(
    boilers: tuple[Boiler, ...], top: int, rows: list[tuple[Pump | None, Store | None]]
) -> str:
    """Warm and cool main, from the first boiler down to the last circuit."""
    last = top + _ROW * (len(rows) - 1)
    parts = [_pipe("cool", (_COOL_X, 84), (_COOL_X, last + 86))] if rows else []
    for i in range(len(rows)):
        y = top + _ROW * i + 86
        parts.append(_pipe("cool", (_PART_X, y), (_COOL_X, y)))
    if rows:
        parts.append(_pipe("ground", (_WARM_X, 36), (_WARM_X, last + 36)))
        parts.append(_pipe("warm", (_WARM_X, 36), (_WARM_X, last + 36)))
    for i in range(max(1, len(boilers))):
        y = _BOILER * i
        parts.append(_pipe("cool", (96, y + 84), (_COOL_X, y + 84)))
        parts.append(_pipe("warm", (96, y + 36), (_WARM_X, y + 36)))
    return "".join(parts)


def _boiler(now: Presence, boiler: Boiler, y: int) -> str:
    state = now.state(boiler).state
    flame = (
        f'<path d="M50 {y + 84} c-14 -2 -18 -14 -10 -24 c1 6 4 7 5 8 c-2 -10 4 -17 10 -20 '
        f'c-1 8 12 14 9 27 c-2 6 -7 9 -14 9 z" class="flame {state}"/>'
    )
    return (
        f'<g class="part" data-part="{escape(boiler.id)}">'
        f'<rect x="6" y="{y + 14}" width="90" height="90" rx="6" class="body"/>'
        f"{_text(51, y + 34, words.named(boiler.id), 'name', 'middle')}{flame}"
        f"{_value(51, y + 99, now.reading(boiler.id, 'power'), 'middle')}"
        f"{_value(_WARM_X + 10, y + 40, now.reading(boiler.id, 'temperature', 'flow'))}"
        f"{_value(_WARM_X + 10, y + 88, now.reading(boiler.id, 'temperature', 'return'))}</g>"
    )


def _circuit(
    now: Presence, row: tuple[Pump | None, Store | None], y: int, *, pump_link: str
) -> str:
    pump, store = row
    parts = [_pipe("warm", (_WARM_X, y + 36), (_PART_X, y + 36))]
    if pump:
        parts.append(_pump(now, pump, y, pump_link))
    parts.append(_store(now, store, y) if store else _consumer(pump, y))
    return "".join(parts)


def _pump(now: Presence, pump: Pump, y: int, pump_link: str) -> str:
    state = now.state(pump)
    symbol = (
        f'<circle cx="{_PUMP_X}" cy="{y + 36}" r="19" class="pump {state.state}"/>'
        f'<path d="M{_PUMP_X - 9} {y + 24} L{_PUMP_X + 17} {y + 36} L{_PUMP_X - 9} {y + 48} z" '
        'class="wheel"/>'
        f"<title>{escape(f'{words.named(pump.id)}: {state.words}')}</title>"
    )
    if pump_link:
        symbol = f'<a href="{escape(pump_link.format(pump.id))}">{symbol}</a>'
    of, x = pump.id, _PART_X - 6
    return (
        f'<g class="part" data-part="{escape(pump.id)}">{symbol}'
        f"{_text(_PUMP_X, y + 11, words.named(of), 'name', 'middle')}"
        f"{_value(_PUMP_X, y + 72, now.reading(of, 'power'), 'middle')}"
        f"{_value(x, y + 28, now.reading(of, 'temperature', 'flow'), 'end')}"
        f"{_value(x, y + 102, now.reading(of, 'temperature', 'return'), 'end')}</g>"
    )


def _store(now: Presence, store: Store, y: int) -> str:
    return (
        f'<g class="part" data-part="{escape(store.id)}">'
        f'<rect x="{_PART_X}" y="{y + 10}" width="84" height="98" rx="24" class="body"/>'
        f"{_text(_PART_X + 42, y + 64, words.named(store.id), 'name', 'middle')}"
        f"{_value(_PART_X + 42, y + 34, now.reading(store.id, 'temperature', 'top'), 'middle')}"
        f"{_value(_PART_X + 42, y + 96, now.reading(store.id, 'temperature', 'bottom'), 'middle')}"
        "</g>"
    )


def _consumer(pump: Pump | None, y: int) -> str:
    """Radiator for heating, tap for recirculation, a plain box for the rest."""
    duty = pump.duty if pump else "other"
    if duty == "heating":
        ribs = "".join(
            f'<rect x="{_PART_X + 12 * i}" y="{y + 24}" width="9" height="74" rx="4" class="body"/>'
            for i in range(7)
        )
        return f'<g class="part">{ribs}</g>'
    label = {"recirculation": "Taps"}.get(duty, "Circuit")
    return (
        f'<g class="part"><rect x="{_PART_X}" y="{y + 24}" width="84" height="74" rx="6" '
        f'class="body"/>{_text(_PART_X + 42, y + 66, label, "name", "middle")}</g>'
    )
