"""From a roof survey to quantities, waste and hours."""
