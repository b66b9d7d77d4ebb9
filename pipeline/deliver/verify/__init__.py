"""What was delivered, read back by readers of its own and held against the manifest.

Nothing here imports the writers of `pipeline.render`: two programs that share a mistake would agree about it.
"""
