"""Routes of the pages, a file a group of pages."""
