"""Metadata in each container format, written without touching the picture data."""
