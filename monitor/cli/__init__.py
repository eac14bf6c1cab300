"""What a person types: one file a noun, in folders of nouns that belong together; here what they share, and their table."""
