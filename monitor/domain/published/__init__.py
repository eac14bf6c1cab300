"""What has been published: findings of a problem hatch, their causes, and exposures."""
