"""A week of Engine 61, driven through the installed command in a real terminal."""
