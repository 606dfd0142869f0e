"""Say which offset of a machine's meter the dashboard's readings speak for, where the present one is in doubt.

Nothing is changed here: a person sets the offset, or leaves it.
"""

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Final

from sqlmodel import Session

from service.domain.machine_meters import Meter, OffsetOrigin, compare, propose_offset
from service.store.repositories import machine_sources
from service.store.repositories.machine_matches import latest_pairs
from service.store.tables.machine_sources import MachineMeter

COMPARED_BACK: Final = timedelta(days=120)
"""Readings of the dashboard that a source is compared with. Common practice, no source."""

DECIMALS: Final = 3


def propose_offsets(
    session: Session, organisation_id: int, now: datetime, meters: Iterable[MachineMeter]
) -> dict[int, float]:
    """Offsets by the key of their meter; one that is not known yet, or not in doubt, is missing."""
    known = {row.id or 0: row for row in meters if row.offset_origin is not None}
    if not known:
        return {}
    names = [row.name for row in machine_sources.list_sources(session, organisation_id)]
    proposed = {}
    for meter in Meter:
        ids = [key for key, row in known.items() if row.meter == meter]
        pairs = latest_pairs(session, organisation_id, ids, meter, names, now - COMPARED_BACK)
        for key, own in pairs.items():
            row = known[key]
            differences = [one for pair in own for one in compare([(pair.taken_at, pair.shown)], pair.source)]
            origin = OffsetOrigin(row.offset_origin or "")
            offset = propose_offset(meter, row.offset or 0.0, origin, differences)
            if offset is not None:
                proposed[key] = round(offset, DECIMALS)
    return proposed
