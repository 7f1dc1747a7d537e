"""One module for each place of the pages."""
