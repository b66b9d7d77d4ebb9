"""What goes out: the run, the contact sheet, the manifest."""
