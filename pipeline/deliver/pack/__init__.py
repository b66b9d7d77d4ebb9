"""What is sent: one zip for one outlet, and the record of what was sent to whom."""
