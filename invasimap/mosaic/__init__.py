"""Survey laid over land: patches dissolved into the faces of one partition, and every acreage a sum over them."""
