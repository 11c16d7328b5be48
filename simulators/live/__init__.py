"""The same greenhouse on real MQTT, for the demonstration and for testing anything that speaks MQTT."""
