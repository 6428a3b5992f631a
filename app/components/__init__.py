"""Parts of a page that more than one page may use."""
