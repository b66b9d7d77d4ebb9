"""The review: what a sheet showed, what reviewers said of it, and what follows for the next export.

`now.review_of` is what a sheet needs, `said.approvals` who approved what, `replies.read_replies` all that was answered.
"""
