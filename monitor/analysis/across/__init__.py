"""What goes together across batches."""
