"""What goes over the wire: payloads and topics to events, effects to payloads. Pure: no network here."""
