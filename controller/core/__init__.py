"""The part that decides. Pure: no clock, network, disk, chance or logging. Start with `vocabulary`."""
