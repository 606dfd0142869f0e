"""SAE J1979 parameter A6: formula of public OBD pages (published); bytes derived from it."""

import pytest

from service.domain.machine_frames import decode_j1979_odometer


@pytest.mark.parametrize(
    ("answer", "km"),
    [
        ("41 A6 00 04 D1 9E", 31_580.6),
        ("41 A6 00 00 00 00", 0.0),
        # The printed end of the range; a signed reader makes it negative.
        ("41 A6 FF FF FF FF", 429_496_729.5),
        ("41 A6 80 00 00 00", 214_748_364.8),
    ],
)
def test_odometer(answer: str, km: float) -> None:
    assert decode_j1979_odometer(bytes.fromhex(answer)) == km
