"""A foreign file that is dropped in without a logger file: its columns are guessed, shown, corrected by choosing."""
