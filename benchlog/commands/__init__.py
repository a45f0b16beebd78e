"""The commands beyond check and plan, each file a group of them; ``benchlog.cli`` registers them."""
