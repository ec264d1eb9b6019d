"""Published numbers of the trade, each standing once with its source and edition."""
