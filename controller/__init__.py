"""Duskbell's daemon: a pure core that decides, and edges that touch the world."""
