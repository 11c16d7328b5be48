"""The house meets the world here: clocks, broker, disk, mail, people at the console."""
