"""Setting up, starting and running Sumpwise in production; standard library only."""
