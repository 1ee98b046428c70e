"""One reader a format; each gives raw layers with every record of the file, usable or not."""
