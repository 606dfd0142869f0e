"""Services of one vehicle bundled into visits, and visits levelled to the bay hours of a depot."""
