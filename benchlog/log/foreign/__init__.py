"""A file that another program wrote: what its columns probably are, for the user to confirm."""
