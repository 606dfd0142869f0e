"""The words of the pages in English, a file a group of pages."""
