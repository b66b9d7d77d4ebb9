"""What was asked for: the job file and the outlet profiles, read and checked whole."""
