"""Looking at every frame of a job before anything is cut: the run, what is known, the words, and what is accepted."""
