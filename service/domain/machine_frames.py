"""Odometer, hour and temperature frames as vehicles send them: SAE J1939 and SAE J1979.

All raw numbers are unsigned: read as signed they turn negative half way, which is a known fault in the field.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import Final

from service.errors import InvalidInputError


class SignalState(StrEnum):
    """Whether a signal carries a value."""

    VALUE = "value"
    ERROR = "error"
    NOT_AVAILABLE = "not_available"
    RESERVED = "reserved"


class MachineSignal(StrEnum):
    """What a frame measures."""

    DISTANCE_HIGH_RESOLUTION_KM = "distance_high_resolution_km"
    DISTANCE_KM = "distance_km"
    ENGINE_HOURS = "engine_hours"
    TRANSMISSION_OIL_CELSIUS = "transmission_oil_celsius"


@dataclass(frozen=True, slots=True, kw_only=True)
class Decoded:
    """A signal and what was in it; the value is None unless the state says that there is one."""

    signal: MachineSignal
    state: SignalState
    value: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class SuspectParameter:
    """Where a J1939 parameter stands in its frame, and how its raw number is scaled."""

    spn: int
    pgn: int
    signal: MachineSignal
    first_byte: int
    n_bytes: int
    units_per_bit: tuple[int, int]
    """Numerator and denominator, so that the value is rounded once only."""
    offset: float = 0.0


PARAMETERS: Final[Mapping[int, SuspectParameter]] = MappingProxyType(
    {
        parameter.spn: parameter
        for parameter in (
            # Scale and position of SPN 917 and 245: several public CAN databases that agree.
            SuspectParameter(
                spn=917,
                pgn=65217,
                signal=MachineSignal.DISTANCE_HIGH_RESOLUTION_KM,
                first_byte=1,
                n_bytes=4,
                units_per_bit=(1, 200),
            ),
            SuspectParameter(
                spn=245,
                pgn=65248,
                signal=MachineSignal.DISTANCE_KM,
                first_byte=5,
                n_bytes=4,
                units_per_bit=(1, 8),
            ),
            # SPN 247 and 177: from memory, not verified against the document.
            SuspectParameter(
                spn=247,
                pgn=65253,
                signal=MachineSignal.ENGINE_HOURS,
                first_byte=1,
                n_bytes=4,
                units_per_bit=(1, 20),
            ),
            SuspectParameter(
                spn=177,
                pgn=65272,
                signal=MachineSignal.TRANSMISSION_OIL_CELSIUS,
                first_byte=5,
                n_bytes=2,
                units_per_bit=(1, 32),
                offset=-273.0,
            ),
        )
    }
)

_HIGHEST_VALUE: Final = 0xFA
"""Top byte of the highest valid number; 0xFB to 0xFD are reserved, 0xFE is an error, 0xFF not available."""


def decode_spn(spn: int, data: bytes) -> Decoded:
    """Decode the bytes of one J1939 parameter, least significant byte first."""
    parameter = PARAMETERS.get(spn)
    if parameter is None:
        raise InvalidInputError(f"SPN {spn} is not read here; known are {', '.join(map(str, PARAMETERS))}.")
    if len(data) != parameter.n_bytes:
        raise InvalidInputError(f"SPN {spn} has {parameter.n_bytes} bytes, not {len(data)}.")
    state = _state(data[-1])
    if state is not SignalState.VALUE:
        return Decoded(signal=parameter.signal, state=state, value=None)
    numerator, denominator = parameter.units_per_bit
    value = int.from_bytes(data, "little") * numerator / denominator + parameter.offset
    return Decoded(signal=parameter.signal, state=state, value=value)


def decode_frame(pgn: int, payload: bytes) -> tuple[Decoded, ...]:
    """Decode every known parameter of one eight-byte J1939 frame; none for a frame that is not read here."""
    if len(payload) != 8:
        raise InvalidInputError(f"A J1939 frame has 8 bytes, not {len(payload)}.")
    return tuple(
        decode_spn(
            parameter.spn, payload[parameter.first_byte - 1 : parameter.first_byte - 1 + parameter.n_bytes]
        )
        for parameter in PARAMETERS.values()
        if parameter.pgn == pgn
    )


def decode_j1979_odometer(answer: bytes) -> float:
    """Kilometres in the answer to service 01, parameter A6: 41 A6 and four bytes, most significant first."""
    if len(answer) != 6 or answer[:2] != b"\x41\xa6":
        raise InvalidInputError("An odometer answer is 41 A6 and four bytes. The parameter is optional.")
    return int.from_bytes(answer[2:], "big") / 10


def bytes_from_hex(pointer: str, text: str) -> bytes:
    """Read bytes as people write them: pairs of hexadecimal digits, spaces between them or not."""
    try:
        return bytes.fromhex(text)
    except ValueError:
        raise InvalidInputError.at(pointer, "Not pairs of hexadecimal digits, as in 9D C2 78 01.") from None


def _state(top_byte: int) -> SignalState:
    if top_byte <= _HIGHEST_VALUE:
        return SignalState.VALUE
    if top_byte == 0xFE:
        return SignalState.ERROR
    return SignalState.NOT_AVAILABLE if top_byte == 0xFF else SignalState.RESERVED
