import pytest

from service.documents.presentation import Presentation


@pytest.fixture
def presentation() -> Presentation:
    return Presentation()
