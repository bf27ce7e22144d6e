"""Generic equipment and prices as tables, and the loader that checks them."""
