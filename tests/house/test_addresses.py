"""No address means two things: where a name that people choose stands beside a fixed word, nobody may choose it."""

from fastapi.routing import APIRoute

from service.api.application import V1_ROUTERS
from service.domain.texts import WORDS_OF_ADDRESSES
from service.web.application import ROUTERS

NEVER_SUCH_WORDS = {"fit", "equipment", "kind", "iso_week", "week"}
"""Parts of addresses that are ids, weeks or kinds of files, which no fixed word looks like."""


def hidden_words(routers):
    """Part of an address and word that an earlier, fixed address takes from it."""
    routes = [route for router in routers for route in router.routes if isinstance(route, APIRoute)]
    for fixed in routes:
        for other in routes:
            match = other.path_regex.match(fixed.path)
            if match and other.path != fixed.path and other.methods & fixed.methods:
                yield from ((name, word) for name, word in match.groupdict().items() if "{" not in word)


def test_nobody_calls_a_vehicle_by_a_word_that_stands_where_its_number_would():
    hidden = {*hidden_words(V1_ROUTERS), *hidden_words(ROUTERS)}
    assert {word for name, word in hidden if name == "vehicle"} == WORDS_OF_ADDRESSES
    assert {name for name, _ in hidden} - {"vehicle"} <= NEVER_SUCH_WORDS
