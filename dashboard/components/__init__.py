"""Parts that pages are made of: views in, components out, no callbacks."""
