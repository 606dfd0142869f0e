"""How much fluid, seals and used-fluid room the coming weeks will ask for, as distributions."""
