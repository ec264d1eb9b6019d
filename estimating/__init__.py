"""What the office keeps: its people, customers, jobs, prices and rates."""
