"""Files for MicroPython boards. Copy them to one folder on the board; do not import them from here."""
