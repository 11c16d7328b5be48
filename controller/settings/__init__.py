"""The settings file: from the manager's TOML to a plan, or to every problem in it with its line."""
