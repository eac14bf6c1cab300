"""A report as a tree of sections, and its two drawers: text and page."""
