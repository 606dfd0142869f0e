"""Who did something, as people say it."""


def told_actor(actor: str) -> str:
    """Leave out that somebody is a person; programs, tokens and jobs keep their kind."""
    return actor.removeprefix("person ")
