"""The week: due lists, visits and the days they are planned on."""
