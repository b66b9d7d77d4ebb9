"""The contact sheet: one page that shows a plan in pictures and words, and takes an answer."""
