"""Links that let a person in once, used by several browsers at the same moment."""

from functools import partial

from service.domain.roles import Role
from service.errors import AuthenticationRequiredError
from service.usecases.access.caller import system_caller
from service.usecases.access.manage_people import add_person, invite_again
from service.usecases.access.sign_in import sign_in_with_code
from tests.faults.test_same_moment import at_once


def use(database, now, link: str) -> str:
    try:
        with database.transaction() as session:
            sign_in_with_code(session, now, link)
    except AuthenticationRequiredError:
        return "told"
    return "in"


def test_one_of_them_lets_in_and_the_others_are_told_so(operator, database, clock):
    """Each voids the others, and none waits for another that waits for it."""
    caller, now = system_caller(operator.organisation_id, "test"), clock.now()
    with database.transaction() as session:
        add_person(session, caller, now, "olga", "Olga", Role.OWNER)
    for _ in range(5):
        with database.transaction() as session:
            links = [invite_again(session, caller, now, "per_1")[1] for _ in range(4)]
        came = at_once([partial(use, database, now, link) for link in links])
        assert sorted(came) == ["in", "told", "told", "told"]
