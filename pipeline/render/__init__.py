"""How it is made: pixels in, bytes out."""
