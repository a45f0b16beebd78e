"""Small parts that several pages are put together from."""
