"""A publishing pipeline for recipe photographs."""
