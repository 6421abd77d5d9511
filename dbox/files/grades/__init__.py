"""Rod readings as text: their tables, results and sentences."""
