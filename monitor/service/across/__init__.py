"""What is asked of a house's batches side by side: one beside those that went well, and all of them."""
