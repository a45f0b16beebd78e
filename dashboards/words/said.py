"""What a page says where a terminal names an option."""

#: How a log from before the install is given on a page.
DROP_BEFORE = "drop one in together with the log"
