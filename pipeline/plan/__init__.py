"""What will be made: one rendition for each frame and target, worked out from headers."""
