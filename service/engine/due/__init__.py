"""When the first limit of a compartment is reached."""
