"""The web kit: what goes into the post with the pictures, written from the same facts as the files."""
