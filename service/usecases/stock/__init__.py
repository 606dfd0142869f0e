"""What stands on the shelf: fluids and parts, what came and went, used fluid."""
