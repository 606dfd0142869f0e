"""What machines and their makers send: fleet documents, raw frames, signed messages."""
