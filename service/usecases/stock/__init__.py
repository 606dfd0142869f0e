"""What is on the shelf, what will be needed, what to order."""
