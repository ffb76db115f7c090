"""What a surface is worth: conics, figure error, Strehl ratio, edge roll."""
