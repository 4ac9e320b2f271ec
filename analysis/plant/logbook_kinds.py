"""Kinds of logbook entries: what people did or read at the plant, in the words of the trade."""

KINDS: dict[str, str] = {
    "swap": "a pump was exchanged",
    "refill": "water was topped up",
    "vented": "air was let out",
    "cleaned": "boiler, filter or flue was cleaned",
    "nozzle": "the oil nozzle was changed",
    "pressure": "the pressure was read or set",
    "flue": "flue gas was read",
    "setting": "a setting was changed",
    "service": "the yearly service was done",
    "sensor": "a sensor or plug was moved or changed",
    "remark": "anything else",
}
"""Kind of entry and what it stands for. Changed settings, swaps, refills and sensors moved begin
a new baseline; the others explain what is seen."""
