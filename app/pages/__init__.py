"""One file per page; pages do not import each other."""
