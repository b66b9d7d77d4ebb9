"""What the camera gave: headers, pixels and camera facts of a frame."""
