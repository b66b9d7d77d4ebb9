"""An export after which nothing but captions is new: what is kept of one for the next, and the short way itself."""
