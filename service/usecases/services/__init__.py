"""The work itself: job sheets, and services recorded from them."""
