"""The eggs of a batch, one by one."""
