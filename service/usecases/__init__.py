"""What a user can do, one verb-noun module each; the only place that joins store and engine."""
