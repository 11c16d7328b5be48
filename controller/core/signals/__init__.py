"""What the sensors say, and how far each can be believed."""
