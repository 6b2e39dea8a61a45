"""The entry point of the MQTT driver."""

from collections.abc import Sequence

from afterfill.errors import ConfigError
from afterfill.ports import Feed, ProbePort, ProbeSpec

from .payloads import fits
from .probe import MqttPort, settings_of
from .settings import MqttSettings


class MqttDriver:
    """Probes whose readings another device publishes on the broker of [mqtt]."""

    @property
    def settings(self) -> type[MqttSettings]:
        """The driver's own keys."""
        return MqttSettings

    def port(self, device: str, probes: Sequence[ProbeSpec]) -> ProbePort:
        """Raises ConfigError: there is no such port without a broker."""
        raise ConfigError(f"port {device}: driver 'mqtt' reads from a broker, not from a port")

    def feed_port(self, feed: Feed, probes: Sequence[ProbeSpec]) -> ProbePort:
        """A closed port. Raises ConfigError for a unit that is none of the quantity's, or a topic
        of our own."""
        for probe in probes:
            settings = settings_of(probe)
            if settings.unit is not None and not fits(settings.unit, probe.quantity):
                raise ConfigError(
                    f"probe '{probe.name}' measures {probe.quantity}, which has no unit "
                    f"'{settings.unit}'; temperature has C and F, orp has mV and V"
                )
            for topic in (settings.topic, settings.availability_topic or ""):
                if feed.is_ours(topic):
                    raise ConfigError(
                        f"probe '{probe.name}': topic {topic} is one on which afterfill itself "
                        "publishes; name the device's own"
                    )
        return MqttPort(feed, probes)


DRIVER = MqttDriver()
