"""What a drain, a fill, a line exchange or a top-up leaves in the box."""
