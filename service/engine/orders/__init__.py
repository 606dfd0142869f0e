"""What to order, in whole packs, so that the shelf holds at a stated service level."""
