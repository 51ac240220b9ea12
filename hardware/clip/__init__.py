"""The printed parts."""
