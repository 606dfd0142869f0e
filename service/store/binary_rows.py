"""Columns as PostgreSQL's binary COPY wants them, all rows at once: a value at a time costs several times as much.

Source: PostgreSQL documentation, COPY, "Binary Format"; values as the send functions of their types write them:
numbers in network byte order, days and microseconds since 2000-01-01, texts and bytes as they are.
"""

from collections.abc import Iterator, Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

_SIGNATURE: Final = b"PGCOPY\n\xff\r\n\0" + bytes(8)
_TRAILER: Final = b"\xff\xff"
_ROWS_A_PART: Final = 2_000
"""So that a part stays in the processor's cache."""

_NUMBERS: Final = {"int8": ">i8", "int4": ">i4", "float8": ">f8", "bool": "?"}
_INSTANTS: Final[dict[str, tuple[Any, str]]] = {"date": ("D", ">i4"), "timestamptz": ("us", ">i8")}

Bytes = NDArray[np.uint8]
Sizes = NDArray[np.int64]


Column = NDArray[Any] | Sequence[str | None]
"""Numbers, instants or bytes (of one length, or as objects of any) in an array; texts in a list."""


def binary_rows(columns: Sequence[tuple[str, Column]]) -> Iterator[bytes]:
    """Give the bytes of a COPY of columns, each with the name of its type; NaN and NaT become null."""
    yield _SIGNATURE
    for start in range(0, len(columns[0][1]), _ROWS_A_PART):
        part = slice(start, start + _ROWS_A_PART)
        yield _rows([_field(name, values[part]) for name, values in columns])
    yield _TRAILER


def _since_2000(values: NDArray[np.datetime64], unit: Any) -> NDArray[np.int64]:
    since = values.astype(f"datetime64[{unit}]") - np.datetime64("2000-01-01", unit)
    return np.asarray(since.astype(np.int64))


def _rows(fields: Sequence[tuple[Bytes, Sizes]]) -> bytes:
    """Put fields side by side, each after its size, and leave out what a shorter one does not fill."""
    n_rows = fields[0][1].size
    parts: list[Bytes] = [_bytes_of(np.full(n_rows, len(fields)), ">i2")]
    for data, size in fields:
        parts += [_bytes_of(size, ">i4"), data]
    rows = np.concatenate(parts, axis=1)
    is_sent = np.ones(rows.shape, np.bool_)
    end = 2
    for data, size in fields:
        start, end = end + 4, end + 4 + data.shape[1]
        if size.min() < data.shape[1]:
            is_sent[:, start:end] = np.arange(data.shape[1]) < size[:, np.newaxis]
    sent: Bytes = rows[is_sent]
    return sent.tobytes()


def _field(name: str, values: Column) -> tuple[Bytes, Sizes]:
    """Bytes of every value, and how many they are; -1 for null."""
    if not isinstance(values, np.ndarray):
        return _texts(values)
    if name in _NUMBERS:
        is_null = np.isnan(values) if values.dtype.kind == "f" else np.zeros(values.size, np.bool_)
        data = _bytes_of(values, _NUMBERS[name])
    elif name in _INSTANTS:
        unit, form = _INSTANTS[name]
        is_null = np.isnat(values)
        data = _bytes_of(_since_2000(values, unit), form)
    elif values.dtype.kind == "O":
        padded = values.astype(np.bytes_)
        return _bytes_of(padded, padded.dtype), np.fromiter(map(len, values), np.int64, values.size)
    else:
        data = _bytes_of(values, values.dtype)
        return data, np.full(values.size, data.shape[1])
    return data, np.where(is_null, -1, data.shape[1])


def _texts(values: Sequence[str | None]) -> tuple[Bytes, Sizes]:
    written = [b"" if value is None else value.encode() for value in values]
    sizes = [-1 if value is None else len(text) for value, text in zip(values, written, strict=True)]
    padded = np.array(written, np.bytes_)
    return _bytes_of(padded, padded.dtype), np.array(sizes, np.int64)


def _bytes_of(values: NDArray[Any], form: Any) -> Bytes:
    """Bytes of every value in a form of fixed length, one row a value."""
    written = np.ascontiguousarray(values, dtype=form)
    return written.view(np.uint8).reshape(values.size, -1)
