"""Look at a frame as a demanding picture editor would: what is wrong, what to do about it, where the subject is."""
