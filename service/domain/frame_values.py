"""From a raw frame of a machine to the value of a meter, or a sentence that says why there is none."""

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Final

from service.domain.machine_frames import (
    PARAMETERS,
    Decoded,
    MachineSignal,
    SignalState,
    bytes_from_hex,
    decode_frame,
    decode_j1979_odometer,
)
from service.domain.machine_meters import MachineValue, Meter
from service.errors import InvalidInputError


class Protocol(StrEnum):
    """How a frame is to be read."""

    J1939 = "j1939"
    J1979 = "j1979"


@dataclass(frozen=True, slots=True)
class FrameValue:
    """What a frame said; without a value, why not."""

    value: MachineValue | None
    detail: str | None = None


METERS: Final = {
    MachineSignal.DISTANCE_HIGH_RESOLUTION_KM: Meter.ODOMETER,
    MachineSignal.DISTANCE_KM: Meter.ODOMETER,
    MachineSignal.ENGINE_HOURS: Meter.ENGINE_HOURS,
}
RESOLUTIONS: Final = {
    parameter.signal: parameter.units_per_bit[0] / parameter.units_per_bit[1]
    for parameter in PARAMETERS.values()
}
J1979_RESOLUTION_KM: Final = 0.1

_STATES: Final = {
    SignalState.ERROR: "The machine reports an error of this signal.",
    SignalState.NOT_AVAILABLE: "The machine says that it does not have this signal.",
    SignalState.RESERVED: "The number is one that the standard keeps for other uses.",
}


def read_frame(
    equipment: str, taken_at: datetime, protocol: Protocol, pgn: int | None, data: str
) -> FrameValue:
    """Decode one frame."""
    try:
        payload = bytes_from_hex("data", data)
        if protocol is Protocol.J1979:
            return FrameValue(_odometer_of_answer(equipment, taken_at, payload))
        if pgn is None:
            return FrameValue(None, "A J1939 frame needs its parameter group number, pgn.")
        decoded = decode_frame(pgn, payload)
    except InvalidInputError as error:
        return FrameValue(None, error.detail)
    return _of_signals(equipment, taken_at, pgn, decoded)


def _odometer_of_answer(equipment: str, taken_at: datetime, payload: bytes) -> MachineValue:
    return MachineValue(
        equipment=equipment,
        meter=Meter.ODOMETER,
        taken_at=taken_at,
        value=decode_j1979_odometer(payload),
        resolution=J1979_RESOLUTION_KM,
    )


def _of_signals(equipment: str, taken_at: datetime, pgn: int, decoded: tuple[Decoded, ...]) -> FrameValue:
    for one in decoded:
        meter = METERS.get(one.signal)
        if meter is not None and one.value is not None:
            value = MachineValue(
                equipment=equipment,
                meter=meter,
                taken_at=taken_at,
                value=one.value,
                resolution=RESOLUTIONS[one.signal],
            )
            return FrameValue(value)
        if meter is not None:
            return FrameValue(None, _STATES[one.state])
    known = ", ".join(str(parameter.pgn) for parameter in PARAMETERS.values() if parameter.signal in METERS)
    return FrameValue(None, f"No odometer or hour meter is read from group {pgn}; they are in {known}.")
