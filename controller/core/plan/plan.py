"""The whole of the settings."""

from __future__ import annotations

from pydantic import PrivateAttr

from controller.core.plan.alarm import AlarmEntry
from controller.core.plan.curtain import Curtain
from controller.core.plan.duty import Duty
from controller.core.plan.page import Page
from controller.core.plan.part import REQUIRED, Part, key
from controller.core.plan.people import CallRules, CallStep, Person
from controller.core.plan.phrases import Phrases
from controller.core.plan.reach import Modem, Siren, Webhook
from controller.core.plan.sensor import Sensor
from controller.core.plan.site import Broker, Journal, Mail, Site
from controller.core.plan.supervision import Supervision
from controller.core.plan.water import Water


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
    water: tuple[Water, ...] = key((), "The bodies of water.")
    curtain: tuple[Curtain, ...] = key((), "The curtains.")
    alarm: tuple[AlarmEntry, ...] = key((), "The master alarm list.")
    person: tuple[Person, ...] = key((), "The people.")
    call: tuple[CallStep, ...] = key((), "The call list.")
    call_rules: CallRules = key(CallRules(), "What happens at the end of the call list.")
    duty: tuple[Duty, ...] = key((), "The roster.")
    supervision: Supervision | None = key(None, "How the chain to people is proven.")
    page: Page | None = key(None, "The page on which people answer.")

    _phrases: Phrases = PrivateAttr(default_factory=Phrases)

    @property
    def thermometers_in_water(self) -> frozenset[str]:
        """Names of the thermometers that a body of water calls its own: they can show less than those in air."""
        return frozenset(water.temperature for water in self.water if water.temperature)

    @property
    def phrases(self) -> Phrases:
        """The fixed phrases of messages; they come from the catalogue file, not from a table."""
        return self._phrases

    def with_phrases(self, phrases: Phrases) -> Plan:
        """Return the same plan speaking another language."""
        other = self.model_copy()
        other._phrases = phrases  # noqa: SLF001 - its own
        return other
