"""Who may do what, and what was changed by whom."""
