"""The week: due lists, drafted, published, worked off and shown."""
