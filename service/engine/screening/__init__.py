"""Which readings to believe, decided reading by reading."""
