"""The homeowner's link: reading, asking, declining, signing, cancelling, and the receipts of it."""
