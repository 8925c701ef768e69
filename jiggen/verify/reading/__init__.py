"""What a folder's files hold, each format read by itself: nothing is judged here."""
