"""What to order by when, what is on order, and what is to be collected."""
