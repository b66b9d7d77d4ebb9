"""Pure arithmetic of light and shape; imports nothing of ours but the fault type."""
