"""What the service can tell others about."""

from enum import StrEnum


class Event(StrEnum):
    """Something that happened, as receivers know it."""

    DUE_LIST_PUBLISHED = "due_list.published"
