"""Published lists on their way to those who asked for them."""
