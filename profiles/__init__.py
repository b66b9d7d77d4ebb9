"""Outlet profiles that ship with plateline (package data, read by pipeline.job.outlets)."""
