"""The command line: `sumpwise --help` teaches the rest."""
