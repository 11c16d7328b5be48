"""The one place where the simulated world takes its dice."""

import random


def stream(seed: int, part: str) -> random.Random:
    """Open a stream of draws that depends on the seed and the part's name alone.

    Every part draws from its own stream, so that one part drawing more often leaves the others as they were.
    A text seed is hashed by `random` itself, so the draws do not depend on the interpreter's hash seed.

    Parameters
    ----------
    seed : int
        The one seed of the run.
    part : str
        Name of the part that draws, unique in the run.
    """
    return random.Random(f"{seed}/{part}")  # noqa: S311 - these draws must repeat, they guard no secret
