"""What the coming weeks will take: the jobs foreseen, by the lists that will ask for them."""
