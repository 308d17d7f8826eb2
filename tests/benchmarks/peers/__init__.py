"""The other side of the speed comparisons: the best we could write with general-purpose libraries."""
