"""What is known: content digests, what was made, what was measured."""
