"""One module a sheet; each has ``write(work, sheet, ...)``."""
