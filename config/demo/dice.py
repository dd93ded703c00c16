"""Seeded chance: each part of the demo draws from its own stream, so that one part never disturbs another."""

import random
import uuid


def dice(seed: int, *what: object) -> random.Random:
    """The stream of random numbers that belongs to `what`, e.g. `dice(1, "site", 17)`.

    Never name a database id in `what`: the next free id is not the seed's to choose.
    """
    return random.Random("/".join(str(part) for part in (seed, *what)))


def dealt_uuid(rng: random.Random) -> uuid.UUID:
    return uuid.UUID(int=rng.getrandbits(128), version=4)
