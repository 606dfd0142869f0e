"""Whom a node takes nothing further for, because it is busy enough with them."""

from collections.abc import Collection
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Occupied:
    """Servers of others (receivers, portals), organisations and channels that are left out of a claim."""

    ids: Collection[int] = ()
    organisation_ids: Collection[int] = ()
    channels: Collection[str] = ()


NOBODY = Occupied()
