"""What each mode of each part is in the start: one small file a family."""
