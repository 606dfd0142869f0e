"""What planning a fleet leaves behind for whoever plans it again a moment later."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from service.usecases.visits.kept_jobs import KeptJobs
from service.usecases.visits.level_depots import LevelledDepot


@dataclass(slots=True)
class KeptWork:
    """Parts of the latest plan; each is replaced as a whole, so that plans made at once do not mix."""

    jobs: KeptJobs | None = None
    depots: Mapping[int, LevelledDepot] = field(default_factory=dict)
    """By row of the depot."""
