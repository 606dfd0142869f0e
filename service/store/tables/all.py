"""Every table, imported so that the metadata is complete for migrations and tests."""

from sqlmodel import SQLModel

from service.store.tables import (  # noqa: F401
    access,
    ageing_fits,
    alarm_limits,
    due_lists,
    fluids,
    job_drafts,
    machine_sources,
    operations,
    organisation,
    parts,
    projections,
    readings,
    services,
    stock,
    subscriptions,
    vehicles,
    visits,
)

metadata = SQLModel.metadata
