"""What an instructor shows: pictures, handouts, a window to play with and a page that does it."""
