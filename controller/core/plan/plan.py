"""The whole of the settings."""

from __future__ import annotations

from controller.core.plan.alarm import AlarmEntry
from controller.core.plan.curtain import Curtain
from controller.core.plan.part import REQUIRED, Part, key
from controller.core.plan.people import CallRules, CallStep, Person
from controller.core.plan.reach import Modem, Siren, Webhook
from controller.core.plan.sensor import Sensor
from controller.core.plan.site import Broker, Journal, Mail, Site


class Plan(Part):
    """Everything the manager has set, as one frozen value."""

    site: Site = key(REQUIRED, "The place.")
    broker: Broker = key(Broker(), "The MQTT broker.")
    journal: Journal = key(Journal(), "The record.")
    mail: Mail | None = key(None, "The mail server.")
    modem: Modem | None = key(None, "The modem for text messages.")
    webhook: Webhook | None = key(None, "Signing of webhooks.")
    siren: Siren | None = key(None, "The siren at the house.")
    sensor: tuple[Sensor, ...] = key((), "The sensors.")
    curtain: tuple[Curtain, ...] = key((), "The curtains.")
    alarm: tuple[AlarmEntry, ...] = key((), "The master alarm list.")
    person: tuple[Person, ...] = key((), "The people.")
    call: tuple[CallStep, ...] = key((), "The call list.")
    call_rules: CallRules = key(CallRules(), "What happens at the end of the call list.")
