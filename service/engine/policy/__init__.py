"""Which interval, how many rounds, and when to come back."""
