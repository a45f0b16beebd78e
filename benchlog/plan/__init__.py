"""What was planned, which limits follow from it, and the tables of the trade behind them."""
