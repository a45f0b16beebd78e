"""What every room may use: errors, roles, samples, units, uncertainty, files, words."""
