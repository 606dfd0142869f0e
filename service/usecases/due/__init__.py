"""When each fluid is due, and why."""
