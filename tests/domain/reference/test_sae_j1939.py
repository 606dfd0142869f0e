"""SAE J1939 parameters: scales of SPN 917 and 245 from public CAN databases (published); 247 and 177 from memory.

Bytes and values are derived from the scales.
"""

import pytest

from service.domain.machine_frames import SignalState, decode_frame, decode_spn


@pytest.mark.parametrize(
    ("spn", "data", "value"),
    [
        (917, "9D C2 78 01", 123_456.785),
        (245, "06 12 0F 00", 123_456.75),
        (247, "81 C4 03 00", 12_345.65),
        (177, "20 2C", 80.0),
        # The printed ends of the ranges: 21,055,406 km and 526,385,151.9 km.
        (917, "FF FF FF FA", 21_055_406.075),
        (245, "FF FF FF FA", 526_385_151.875),
    ],
)
def test_values(spn: int, data: str, value: float) -> None:
    decoded = decode_spn(spn, bytes.fromhex(data))
    assert decoded.state is SignalState.VALUE
    assert decoded.value == value


@pytest.mark.parametrize(
    ("top_byte", "state"),
    [
        ("FB", SignalState.RESERVED),
        ("FD", SignalState.RESERVED),
        ("FE", SignalState.ERROR),
        ("FF", SignalState.NOT_AVAILABLE),
    ],
)
def test_codes_above_the_range_carry_no_value(top_byte: str, state: SignalState) -> None:
    for spn, n_bytes in ((917, 4), (245, 4), (247, 4), (177, 2)):
        decoded = decode_spn(spn, bytes.fromhex("FF" * (n_bytes - 1) + top_byte))
        assert (decoded.state, decoded.value) == (state, None)


def test_positions_in_the_frame() -> None:
    (distance,) = decode_frame(65248, bytes.fromhex("FFFFFFFF06120F00"))
    assert distance.value == 123_456.75
    (fine,) = decode_frame(65217, bytes.fromhex("9DC27801FFFFFFFF"))
    assert fine.value == 123_456.785
    assert decode_frame(61444, bytes(8)) == ()
