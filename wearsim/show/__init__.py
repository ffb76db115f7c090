"""What people read: plots, tables, the bench card."""
