"""What every app shares: errors, paging, retries, preconditions, background work, HTML to PDF."""
