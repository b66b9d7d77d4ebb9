"""Jobs, frames and output folders in storage: private copies of what is read, and what is made sent back."""
