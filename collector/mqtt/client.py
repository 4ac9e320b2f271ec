"""The plain MQTT client of an installation, and one message to publish."""

import ssl
from dataclasses import dataclass
from typing import Any

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from collector.files.settings import Settings


@dataclass(frozen=True, slots=True)
class Message:
    """One message to publish, due at the time of its readings [ms]."""

    time_ms: int
    topic: str
    payload: bytes


def plain_client(settings: Settings, password: str | None, **extra: Any) -> mqtt.Client:
    """A client with the user, password and certificates of the settings, not yet connected.

    Parameters
    ----------
    settings : Settings
        Whose broker.
    password : str or None
        Secret of its user.
    **extra
        Handed to the client.
    """
    chosen = settings.broker
    client = mqtt.Client(CallbackAPIVersion.VERSION2, **extra)
    if chosen.username:
        client.username_pw_set(chosen.username, password)
    if tls := chosen.tls:
        context = ssl.create_default_context(cafile=tls.ca and str(settings.at(tls.ca)))
        if tls.certificate:
            context.load_cert_chain(settings.at(tls.certificate), tls.key and settings.at(tls.key))
        client.tls_set_context(context)
    return client
