"""The ways by which messages reach people."""
