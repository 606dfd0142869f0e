"""Every error has a code of its own and a status."""

from collections import Counter
from collections.abc import Iterator

from service import errors
from service.api.problems import STATUS_BY_ERROR


def every_error(
    parent: type[errors.ServiceError] = errors.ServiceError,
) -> Iterator[type[errors.ServiceError]]:
    """Walk the tree below `parent`; classes that other tests invent are not ours."""
    for child in parent.__subclasses__():
        if child.__module__ == errors.__name__:
            yield child
            yield from every_error(child)


def test_codes_are_unique_and_kebab_case() -> None:
    codes = Counter([errors.ServiceError.code, *(error.code for error in every_error())])
    assert len(codes) > 1
    assert [code for code, count in codes.items() if count > 1] == []
    assert [code for code in codes if not code.replace("-", "").isalpha() or code != code.lower()] == []


def test_every_error_has_a_status_of_its_own() -> None:
    assert set(every_error()) - set(STATUS_BY_ERROR) == set()


def test_statuses_are_those_of_errors() -> None:
    """RFC 9110 §15.5 and §15.6: 4xx is the client's fault, 5xx the server's."""
    assert [error for error, status in STATUS_BY_ERROR.items() if not 400 <= status <= 599] == []
    ours = [
        error for error in STATUS_BY_ERROR if issubclass(error, errors.EngineError | errors.UpstreamError)
    ]
    assert [error for error in ours if STATUS_BY_ERROR[error] < 500] == []


def test_the_tree_at_the_top_of_the_file_is_complete() -> None:
    picture = errors.__doc__ or ""
    assert [error.__name__ for error in every_error() if error.__name__ not in picture] == []
