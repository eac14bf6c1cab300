"""The eggs: what they feel, and the book of what was written about them."""
