"""Messages from an MQTT broker, by paho: nothing is lost, everything is settled by hand, in order."""

from gateway.edges.mqtt.options import Options
from gateway.edges.mqtt.source import MqttSource

__all__ = ["MqttSource", "Options"]
