"""One question a file. Nothing here opens files, prints, plots or reads the clock."""
