"""Charts, drawn on the server."""
