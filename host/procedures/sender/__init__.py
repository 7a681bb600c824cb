"""The sender check: on plateaus, by a loop, the thorough way, or from readings typed by hand."""
